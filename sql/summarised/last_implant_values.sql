-- The preferred record of each implant of the cycle before this one, with its case's groups.
-- Empty where no cycle was chosen or none came before. Grain: case_key, implant_key.
select
    i.* exclude (guide_used),
    c.guide_method,
    c.guide_support,
    c.guidance,
    c.operator_level,
    c.jaw,
    c.surgery_date,
    coalesce(i.guide_used, 'not known') as guide_used
from measured.implants as i
inner join measured.cases as c on i.case_key = c.case_key
where
    i.is_preferred
    and i.part = 'pair'
    and c.setting = 'patient'
    and c.surgery_date between $last_from::date and $last_to::date

-- The preferred record of each pair of the cycle before this one, with its case's groups.
-- Empty where no cycle was chosen or none came before. Grain: case_key.
select
    p.*,
    c.guide_method,
    c.guide_support,
    c.guidance,
    c.operator_level,
    c.jaw,
    c.surgery_date
from measured.pairs as p
inner join measured.cases as c on p.case_key = c.case_key
where
    p.is_preferred
    and c.setting = 'patient'
    and c.surgery_date between $last_from::date and $last_to::date

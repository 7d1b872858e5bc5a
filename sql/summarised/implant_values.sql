-- The preferred record of each implant that counts, with its case's groups. Grain: case_key, implant_key.
select
    i.* exclude (guide_used),
    c.guide_method,
    c.guide_support,
    c.guidance,
    c.operator_level,
    c.bone_height_mm,
    c.mucosa_thickness_mm,
    case when i.tooth similar to '[1-4][1-8]' then right(i.tooth, 1) end as tooth_place,
    c.jaw,
    c.centre_code,
    c.surgery_date,
    coalesce(w.measured_by, 'not known') as measured_by,
    coalesce(i.guide_used, 'not known') as guide_used
from measured.implants as i
inner join summarised.cases_used as c on i.case_key = c.case_key
left join measured.who_measured as w on i.case_key = w.case_key
where i.is_preferred and i.part = 'pair'

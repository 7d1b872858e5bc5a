-- The preferred record of each pair that counts, with its case's groups. Grain: case_key.
select
    p.*,
    c.guide_method,
    c.guide_support,
    c.guidance,
    c.operator_level,
    c.jaw,
    c.centre_code,
    c.surgery_date,
    coalesce(w.measured_by, 'not known') as measured_by
from measured.pairs as p
inner join summarised.cases_used as c on p.case_key = c.case_key
left join measured.who_measured as w on p.case_key = w.case_key
where p.is_preferred

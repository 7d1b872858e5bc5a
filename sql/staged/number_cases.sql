-- Which case a number leads to that is not the case's own: the number of the appointment system (by the
-- sheet numbers, or the patient of a case), the number of a guide, the job number of the laboratory. A
-- number of two cases leads to none. Grain: kind, code.
with named as (
    select
        'practice' as kind,
        n.patient_key as code,
        n.case_key
    from staged.numbers as n
    union
    select
        'practice' as kind,
        c.patient_key as code,
        c.case_key
    from staged.cases as c
    union
    select
        'guide' as kind,
        c.guide_code as code,
        c.case_key
    from staged.cases as c
    union
    select
        'job' as kind,
        n.job_no_code as code,
        n.case_key
    from staged.numbers as n
)

select
    m.kind,
    m.code,
    count(*) as count_cases,
    case when count(*) = 1 then min(m.case_key) end as case_key
from named as m
where m.code is not null and m.case_key is not null
group by m.kind, m.code

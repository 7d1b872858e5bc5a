-- The list of treated patients from outside, and how many of them the audit holds. A patient is found by
-- the practice number, else through the sheet numbers. Grain: one row, where such a list was given.
with on_the_list as (
    select
        t.patient_key,
        min(t.date) as first_date,
        max(t.date) as last_date
    from checked.usable_treated as t
    where t.patient_key is not null
    group by t.patient_key
),

in_the_audit as (
    select c.patient_key from summarised.cases_used as c
    union
    select n.patient_key
    from checked.usable_numbers as n
    inner join summarised.cases_used as c on n.case_key = c.case_key
)

select
    count(*) as count_treated,
    count(a.patient_key) as count_in_audit,
    min(l.first_date) as first_date,
    max(l.last_date) as last_date
from on_the_list as l
left join in_the_audit as a on l.patient_key = a.patient_key
having count(*) > 0

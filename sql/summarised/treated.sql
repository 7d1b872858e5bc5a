-- The list of treated patients from outside, cut to the cycle where one was chosen, and how many of them the
-- audit holds. A patient is found by the practice number, else through the sheet numbers.
-- Grain: one row, where such a list was given.
with of_patients as (
    select
        t.patient_key,
        min(t.date) as first_date,
        max(t.date) as last_date,
        $cycle_from::date is not null and min(t.date) is null as is_without_day
    from checked.usable_treated as t
    where
        t.patient_key is not null
        and (
            t.date is null
            or (
                ($cycle_from::date is null or t.date >= $cycle_from::date)
                and ($cycle_to::date is null or t.date <= $cycle_to::date)
            )
        )
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
    count(*) filter (not o.is_without_day) as count_treated,
    count(*) filter (o.is_without_day) as count_without_day,
    count(a.patient_key) filter (not o.is_without_day) as count_in_audit,
    min(o.first_date) as first_date,
    max(o.last_date) as last_date
from of_patients as o
left join in_the_audit as a on o.patient_key = a.patient_key
having count(*) > 0

-- From what was received to what is measured, as counts that add up: every case and every implant has one
-- fate. Grain: fate, first_check.
with fates as (
    select
        w.fate,
        w.place_in_order
    from (
        values
        ('not of a patient', 1),
        ('outside the period', 2),
        ('not operated yet', 3),
        ('set aside', 4),
        ('not of the pair', 5),
        ('not placed', 6),
        ('no result on record', 7),
        ('no plan on record', 8),
        ('plan and result do not meet', 9),
        ('measured', 10)
    ) as w (fate, place_in_order)
),

everything as (
    select
        c.fate,
        c.first_check,
        1 as is_case
    from summarised.case_fates as c
    union all
    select
        i.fate,
        i.first_check,
        0 as is_case
    from summarised.implant_fates as i
)

select
    f.fate,
    f.place_in_order,
    e.first_check,
    count(e.is_case) filter (e.is_case = 1) as count_cases,
    count(e.is_case) filter (e.is_case = 0) as count_implants
from fates as f
left join everything as e on f.fate = e.fate
group by f.fate, f.place_in_order, e.first_check

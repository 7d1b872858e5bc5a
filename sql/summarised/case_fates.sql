-- What became of every case that any record speaks of: measured, or why not; one fate each, the first that
-- fits. A case is measured when an implant or the pair has a figure. Whatever the cycle. Grain: case_key.
with with_figure as (
    select v.case_key from summarised.implant_values as v
    union
    select p.case_key from summarised.pair_values as p
    where
        coalesce(
            p.achieved_angle_deg, p.achieved_frontal_convergence_deg,
            p.achieved_sagittal_difference_deg, p.achieved_spacing_mm
        ) is not null
),

spoken_of as (
    select
        i.case_key,
        i.row_id
    from staged.implants as i
    union all
    select
        d.case_key,
        d.row_id
    from staged.deviations as d
    union all
    select
        r.case_key,
        r.row_id
    from staged.cast_readings as r
    union all
    select
        p.case_key,
        p.row_id
    from staged.pair_readings as p
    union all
    select
        f.case_key,
        f.row_id
    from staged.films as f
),

first_checks as (
    select
        s.case_key,
        min(h.check_ids[1]) as first_check
    from spoken_of as s
    inner join checked.held as h on s.row_id = h.row_id
    group by s.case_key
),

judged as (
    select
        c.case_key,
        k.first_check,
        case
            when c.setting <> 'patient' then 'not of a patient'
            when u.case_key is null then 'outside the period'
            when f.case_key is not null then 'measured'
            when k.first_check is not null then 'set aside'
            when c.status = 'planned' then 'not operated yet'
            when not c.has_achieved then 'no result on record'
            when not c.has_plan then 'no plan on record'
            else 'plan and result do not meet'
        end as fate
    from measured.cases as c
    left join summarised.cases_used as u on c.case_key = u.case_key
    left join with_figure as f on c.case_key = f.case_key
    left join first_checks as k on c.case_key = k.case_key
)

select
    j.case_key,
    j.fate,
    case when j.fate = 'set aside' then j.first_check end as first_check
from judged as j

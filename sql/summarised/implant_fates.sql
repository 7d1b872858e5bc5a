-- What became of every implant that any record speaks of: measured, or why not; one fate each, the first
-- that fits. Whatever the cycle. Grain: case_key, implant_key.
with rows_received as (
    select
        i.case_key,
        coalesce(i.implant_key, i.side, 'not known') as implant_key,
        i.row_id,
        i.part,
        i.outcome,
        i.planned_entry_x_mm is not null as has_plan,
        i.achieved_entry_x_mm is not null as has_result
    from staged.implants as i
    union all by name
    select
        d.case_key,
        coalesce(d.implant_key, d.side, 'not known') as implant_key,
        d.row_id,
        true as has_plan,
        true as has_result
    from staged.deviations as d
    union all by name
    select
        r.case_key,
        coalesce(r.side, 'not known') as implant_key,
        r.row_id,
        r.state = 'planned' as has_plan,
        r.state = 'achieved' as has_result
    from staged.cast_readings as r
    union all by name
    select
        f.case_key,
        coalesce(f.implant_key, f.side, 'not known') as implant_key,
        f.row_id,
        f.state = 'planned' as has_plan,
        f.state = 'achieved' as has_result
    from staged.films as f
    where coalesce(f.side, '') <> 'both'
),

received as (
    select
        r.case_key,
        r.implant_key,
        coalesce(max(r.part), 'pair') as part,
        coalesce(max(r.outcome), 'placed') as outcome,
        bool_or(r.has_plan) as has_plan,
        bool_or(r.has_result) as has_result,
        min(h.check_ids[1]) as first_check
    from rows_received as r
    left join checked.held as h on r.row_id = h.row_id
    where r.case_key is not null
    group by r.case_key, r.implant_key
),

judged as (
    select
        r.case_key,
        r.implant_key,
        r.first_check,
        case
            when c.setting <> 'patient' then 'not of a patient'
            when u.case_key is null then 'outside the period'
            when v.case_key is not null then 'measured'
            when r.part <> 'pair' then 'not of the pair'
            when r.first_check is not null then 'set aside'
            when c.status = 'planned' then 'not operated yet'
            when r.outcome = 'not_placed' then 'not placed'
            when not r.has_result then 'no result on record'
            when not r.has_plan then 'no plan on record'
            else 'plan and result do not meet'
        end as fate
    from received as r
    inner join measured.cases as c on r.case_key = c.case_key
    left join summarised.cases_used as u on r.case_key = u.case_key
    left join summarised.implant_values as v
        on r.case_key = v.case_key and r.implant_key = v.implant_key
)

select
    j.case_key,
    j.implant_key,
    j.fate,
    case when j.fate = 'set aside' then j.first_check end as first_check
from judged as j

-- Every case that any record speaks of, with what is known about it. Grain: case_key.
-- A cases row that is set aside leaves its implants measured and the groupings "not known".
with spoken_of as (
    select
        c.case_key,
        null as tooth,
        c.row_id
    from staged.cases as c
    union all
    select
        i.case_key,
        i.tooth,
        i.row_id
    from staged.implants as i
    union all
    select
        d.case_key,
        d.tooth,
        d.row_id
    from staged.deviations as d
    union all
    select
        r.case_key,
        null as tooth,
        r.row_id
    from staged.cast_readings as r
    union all
    select
        p.case_key,
        null as tooth,
        p.row_id
    from staged.pair_readings as p
    union all
    select
        f.case_key,
        f.tooth,
        f.row_id
    from staged.films as f
),

known as (
    select
        s.case_key,
        bool_or(s.tooth similar to '[12][1-8]') as has_upper_tooth,
        count(h.row_id) as count_held_rows
    from spoken_of as s
    left join checked.held as h on s.row_id = h.row_id
    where s.case_key is not null
    group by s.case_key
),

described_once as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

with_plan as (
    select i.case_key from staged.implants as i
    where i.planned_entry_x_mm is not null
    union
    select d.case_key from staged.deviations as d
    union
    select r.case_key from staged.cast_readings as r
    where r.state = 'planned'
    union
    select p.case_key from staged.pair_readings as p
    where p.state = 'planned'
    union
    select f.case_key from staged.films as f
    where f.state = 'planned'
    union
    select c.case_key from staged.cases as c
    where c.planned_pair_angle_deg is not null
),

with_achieved as (
    select i.case_key from staged.implants as i
    where i.achieved_entry_x_mm is not null
    union
    select d.case_key
    from staged.deviations as d
    where
        coalesce(
            d.entry_3d_mm, d.entry_lateral_mm, d.angle_deg, d.apex_3d_mm, d.depth_mm
        ) is not null
    union
    select r.case_key from staged.cast_readings as r
    where r.state = 'achieved'
    union
    select p.case_key from staged.pair_readings as p
    where p.state = 'achieved'
    union
    select f.case_key from staged.films as f
    where f.state = 'achieved'
    union
    select c.case_key from staged.cases as c
    where c.achieved_pair_angle_deg is not null
),

first_denture as (
    select
        d.case_key,
        min(d.delivery_date) as delivery_date
    from staged.dentures as d
    group by d.case_key
),

seen as (
    select
        v.case_key,
        count(*) as count_visits
    from checked.usable_visits as v
    where coalesce(v.attended, true)
    group by v.case_key
),

described as (
    select
        k.case_key,
        coalesce(u.patient_key, k.case_key) as patient_key,
        coalesce(u.jaw, case when k.has_upper_tooth then 'upper' else 'lower' end) as jaw,
        coalesce(u.setting, 'patient') as setting,
        u.surgery_date,
        coalesce(u.delivery_date, f.delivery_date) as delivery_date,
        u.operator_code,
        coalesce(u.operator_level, 'not known') as operator_level,
        u.training_year,
        coalesce(u.role, 'not known') as operator_role,
        u.supervisor_code is not null as is_supervised,
        u.guide_code,
        u.guide_lab_code,
        coalesce(u.guide_method, 'not known') as guide_method,
        coalesce(u.guide_support, 'not known') as guide_support,
        coalesce(u.guidance, 'not known') as guidance,
        coalesce(u.attachment, 'not known') as attachment,
        u.bone_height_mm,
        u.mucosa_thickness_mm,
        u.exit_status,
        u.logged_date,
        coalesce(u.role = 'taken_over' or u.finished_by_code <> u.operator_code, false)
            as is_taken_over,
        u.row_id is not null as is_in_cases_sheet,
        p.case_key is not null as has_plan,
        a.case_key is not null as has_achieved,
        coalesce(s.count_visits, 0) as count_visits,
        k.count_held_rows
    from known as k
    left join described_once as u on k.case_key = u.case_key
    left join with_plan as p on k.case_key = p.case_key
    left join with_achieved as a on k.case_key = a.case_key
    left join first_denture as f on k.case_key = f.case_key
    left join seen as s on k.case_key = s.case_key
)

select
    d.case_key,
    d.patient_key,
    null::varchar as centre_code,
    d.jaw,
    d.setting,
    case
        when d.exit_status not in ('active', 'unknown') then 'closed'
        when d.delivery_date is not null then 'delivered'
        when d.surgery_date is not null or d.has_achieved then 'placed'
        else 'planned'
    end as status,
    d.surgery_date,
    d.delivery_date,
    d.operator_code,
    d.operator_level,
    d.training_year,
    d.operator_role,
    d.is_supervised,
    d.guide_code,
    d.guide_lab_code,
    d.guide_method,
    d.guide_support,
    d.guidance,
    d.attachment,
    d.bone_height_mm,
    d.mucosa_thickness_mm,
    d.logged_date,
    d.is_taken_over,
    d.is_in_cases_sheet,
    d.has_plan,
    d.has_achieved,
    d.count_visits,
    d.count_held_rows
from described as d

-- Pairs known only by their ready-made angle in the cases sheet. Grain: case_key.
with source_of_case as (
    select
        f.case_key,
        case when count(distinct f.achieved_source) = 1 then min(f.achieved_source) end
            as achieved_source
    from measured.from_ready_figures as f
    group by f.case_key
)

select
    s.case_key,
    c.patient_key,
    'ready' as basis,
    coalesce(o.achieved_source, 'unknown') as achieved_source,
    case when s.achieved_pair_angle_deg is not null then 1 else 0 end as count_readings,
    s.planned_pair_angle_deg as planned_angle_deg,
    s.achieved_pair_angle_deg as achieved_angle_deg,
    'a ready-made angle, as the sheet gives it: its two planes are not known' as basis_note
from checked.usable_cases as s
inner join measured.cases as c on s.case_key = c.case_key
left join source_of_case as o on s.case_key = o.case_key
where coalesce(s.planned_pair_angle_deg, s.achieved_pair_angle_deg) is not null
qualify row_number() over (partition by s.case_key order by s.row_id desc) = 1

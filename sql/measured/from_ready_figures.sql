-- Deviations that came as ready-made figures. Readings can only be averaged as numbers here.
-- Directed figures count as directed only where the sheet says so, or where its column holds a negative
-- value; otherwise their size is kept and their direction is null.
-- Grain: case_key, implant_key, achieved_source.
with signs as (
    select
        d.*,
        coalesce(
            d.is_signed,
            min(least(d.depth_mm, d.mesial_mm, d.facial_mm)) over (partition by d.source) < 0,
            false
        )
            as is_directed
    from checked.usable_deviations as d
    where d.implant_key is not null and d.side is not null
),

averaged as (
    select
        s.case_key,
        s.implant_key,
        coalesce(s.achieved_source, 'unknown') as achieved_source,
        any_value(s.side) as side,
        min(s.tooth) as tooth,
        count(*) as count_readings,
        bool_and(s.is_directed) as is_directed,
        avg(s.entry_3d_mm) as entry_3d_mm,
        avg(s.entry_lateral_mm) as entry_lateral_mm,
        avg(s.depth_mm) as depth_mm,
        avg(s.apex_3d_mm) as apex_3d_mm,
        avg(s.apex_lateral_mm) as apex_lateral_mm,
        avg(s.angle_deg) as angle_deg,
        avg(s.mesial_mm) as mesial_mm,
        avg(s.facial_mm) as facial_mm,
        avg(s.frontal_tilt_change_deg) as frontal_tilt_change_deg,
        avg(s.sagittal_tilt_change_deg) as sagittal_tilt_change_deg
    from signs as s
    group by s.case_key, s.implant_key, coalesce(s.achieved_source, 'unknown')
)

select
    a.case_key,
    c.patient_key,
    a.implant_key,
    a.side,
    a.tooth,
    'ready' as basis,
    a.achieved_source,
    'pair' as part,
    a.count_readings,
    a.entry_3d_mm,
    a.entry_lateral_mm,
    case when a.is_directed then a.depth_mm end as depth_mm,
    abs(a.depth_mm) as depth_size_mm,
    a.apex_3d_mm,
    a.apex_lateral_mm,
    a.angle_deg,
    case when a.is_directed then a.mesial_mm end as mesial_mm,
    case when a.is_directed then a.facial_mm end as facial_mm,
    case when a.is_directed then a.frontal_tilt_change_deg end as frontal_tilt_change_deg,
    case when a.is_directed then a.sagittal_tilt_change_deg end as sagittal_tilt_change_deg,
    false as is_length_substituted,
    false as is_deliberate_change,
    concat_ws(
        '; ',
        'ready-made figures, as the sheet gives them',
        case
            when
                a.count_readings > 1
                then 'readings averaged as numbers, so they hold reading noise'
        end,
        case when not a.is_directed then 'written without signs: no directions' end
    ) as basis_note
from averaged as a
inner join measured.cases as c on a.case_key = c.case_key
where
    coalesce(
        a.entry_3d_mm, a.entry_lateral_mm, a.depth_mm, a.apex_3d_mm, a.apex_lateral_mm, a.angle_deg,
        a.mesial_mm, a.facial_mm, a.frontal_tilt_change_deg, a.sagittal_tilt_change_deg
    ) is not null

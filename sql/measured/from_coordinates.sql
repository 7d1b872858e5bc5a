-- Deviations of implants whose plan and result stand in coordinates.
-- d runs from the planned to the achieved entry, e from the planned to the achieved apex; u and v are
-- the planned and the achieved unit axis, entry to apex. x to the patient's left, y backward, z up.
-- Where the recorded lengths differ by 0.1 mm or more the apex is compared at the planned length along v.
-- Grain: case_key, implant_key, achieved_source.
with joined as (
    select
        a.*,
        c.jaw,
        l.part,
        l.guide_used,
        l.is_deliberate_change,
        case when a.side = 'left' then -1 else 1 end as to_midline,
        case when c.jaw = 'upper' then -1 else 1 end as occlusal,
        coalesce(
            abs(l.recorded_planned_length_mm - l.recorded_placed_length_mm) >= 0.1 - 1e-9, false
        )
            as is_length_substituted,
        coalesce(l.planned_reference <> l.achieved_reference, false)
        and l.reference_offset_mm is null as is_reference_unmatched,
        case when l.planned_reference <> l.achieved_reference then l.reference_offset_mm else 0 end
            as reference_offset_mm
    from measured.axes as a
    inner join measured.cases as c on a.case_key = c.case_key
    inner join measured.labels as l
        on
            a.case_key = l.case_key
            and a.implant_key = l.implant_key
            and a.achieved_source = l.achieved_source
    where a.planned_axis_x is not null and a.achieved_axis_x is not null
),

entries as (
    select
        j.*,
        j.achieved_entry_x_mm - coalesce(j.reference_offset_mm, 0) * j.achieved_axis_x
        - j.planned_entry_x_mm as dx,
        j.achieved_entry_y_mm - coalesce(j.reference_offset_mm, 0) * j.achieved_axis_y
        - j.planned_entry_y_mm as dy,
        j.achieved_entry_z_mm - coalesce(j.reference_offset_mm, 0) * j.achieved_axis_z
        - j.planned_entry_z_mm as dz,
        case when j.is_length_substituted then j.planned_length_mm else j.achieved_length_mm end
            as compared_length_mm
    from joined as j
    where j.achieved_frame = 'plan'
),

apices as (
    select
        n.*,
        n.dx
        + n.compared_length_mm * n.achieved_axis_x
        - n.planned_length_mm * n.planned_axis_x as ex,
        n.dy
        + n.compared_length_mm * n.achieved_axis_y
        - n.planned_length_mm * n.planned_axis_y as ey,
        n.dz
        + n.compared_length_mm * n.achieved_axis_z
        - n.planned_length_mm * n.planned_axis_z as ez,
        n.dx * n.planned_axis_x + n.dy * n.planned_axis_y + n.dz * n.planned_axis_z as along_mm
    from entries as n
),

parts as (
    select
        x.*,
        x.ex * x.planned_axis_x
        + x.ey * x.planned_axis_y
        + x.ez * x.planned_axis_z as apex_along_mm,
        lean_deg(-x.planned_axis_x * x.to_midline, -x.planned_axis_z * x.occlusal)
            as planned_frontal,
        lean_deg(-x.achieved_axis_x * x.to_midline, -x.achieved_axis_z * x.occlusal)
            as achieved_frontal,
        lean_deg(x.planned_axis_y, -x.planned_axis_z * x.occlusal) as planned_sagittal,
        lean_deg(x.achieved_axis_y, -x.achieved_axis_z * x.occlusal) as achieved_sagittal
    from apices as x
)

select
    p.case_key,
    p.patient_key,
    p.implant_key,
    p.side,
    p.tooth,
    'coordinates' as basis,
    p.achieved_source,
    p.part,
    p.count_readings,
    case when not p.is_reference_unmatched then sqrt(p.dx ^ 2 + p.dy ^ 2 + p.dz ^ 2) end
        as entry_3d_mm,
    sqrt(greatest(p.dx ^ 2 + p.dy ^ 2 + p.dz ^ 2 - p.along_mm ^ 2, 0)) as entry_lateral_mm,
    case when not p.is_reference_unmatched then p.along_mm end as depth_mm,
    case when not p.is_reference_unmatched then abs(p.along_mm) end as depth_size_mm,
    case when not p.is_reference_unmatched then sqrt(p.ex ^ 2 + p.ey ^ 2 + p.ez ^ 2) end
        as apex_3d_mm,
    sqrt(greatest(p.ex ^ 2 + p.ey ^ 2 + p.ez ^ 2 - p.apex_along_mm ^ 2, 0)) as apex_lateral_mm,
    case when not p.is_reference_unmatched then p.apex_along_mm end as apex_depth_mm,
    angle_between_deg(
        p.planned_axis_x, p.planned_axis_y, p.planned_axis_z,
        p.achieved_axis_x, p.achieved_axis_y, p.achieved_axis_z
    ) as angle_deg,
    p.dx * p.to_midline as mesial_mm,
    -p.dy as facial_mm,
    case when not p.is_reference_unmatched then p.dz end as up_mm,
    p.planned_frontal as planned_frontal_tilt_deg,
    p.achieved_frontal as achieved_frontal_tilt_deg,
    p.achieved_frontal - p.planned_frontal as frontal_tilt_change_deg,
    p.planned_sagittal as planned_sagittal_tilt_deg,
    p.achieved_sagittal as achieved_sagittal_tilt_deg,
    p.achieved_sagittal - p.planned_sagittal as sagittal_tilt_change_deg,
    p.is_length_substituted,
    p.is_deliberate_change,
    p.guide_used,
    'plan_frame' as jaw_frame_basis,
    nullif(
        concat_ws(
            '; ',
            case
                when p.is_reference_unmatched
                    then
                        'plan and result name different reference points: no depth, no 3-D distance'
            end,
            case
                when p.is_length_substituted
                    then 'another implant length was placed: apex compared at the planned length'
            end
        ),
        ''
    ) as basis_note
from parts as p
union all by name
select
    j.case_key,
    j.patient_key,
    j.implant_key,
    j.side,
    j.tooth,
    'coordinates' as basis,
    j.achieved_source,
    j.part,
    j.count_readings,
    j.is_length_substituted,
    j.is_deliberate_change,
    j.guide_used,
    'the result stands in the scan''s own coordinates: only figures of the pair can be given'
        as basis_note
from joined as j
where j.achieved_frame = 'scan'

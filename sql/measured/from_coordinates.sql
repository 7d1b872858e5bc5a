-- Deviations of implants whose plan and result stand in coordinates.
-- d runs from the planned to the achieved entry, e from the planned to the achieved apex; u and v are
-- the planned and the achieved unit axis, entry to apex. Left, backward and up are the jaw's own directions
-- where its landmarks tell them, else the plan's x, y and z.
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
        coalesce(f.jaw_frame_basis, 'plan_frame') as jaw_frame_basis,
        coalesce(f.left_x, 1) as left_x,
        coalesce(f.left_y, 0) as left_y,
        coalesce(f.left_z, 0) as left_z,
        coalesce(f.back_x, 0) as back_x,
        coalesce(f.back_y, 1) as back_y,
        coalesce(f.back_z, 0) as back_z,
        coalesce(f.up_x, 0) as up_x,
        coalesce(f.up_y, 0) as up_y,
        coalesce(f.up_z, 1) as up_z,
        g.reason as not_superimposed_because,
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
    left join measured.jaw_frames as f on a.case_key = f.case_key
    left join measured.registrations as g
        on a.case_key = g.case_key and a.scan = g.scan and a.achieved_frame = 'scan'
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

in_the_jaw as (
    select
        x.*,
        x.ex * x.planned_axis_x
        + x.ey * x.planned_axis_y
        + x.ez * x.planned_axis_z as apex_along_mm,
        along(x.left_x, x.left_y, x.left_z, x.dx, x.dy, x.dz) as d_left,
        along(x.back_x, x.back_y, x.back_z, x.dx, x.dy, x.dz) as d_back,
        along(x.up_x, x.up_y, x.up_z, x.dx, x.dy, x.dz) as d_up,
        along(x.left_x, x.left_y, x.left_z, x.planned_axis_x, x.planned_axis_y, x.planned_axis_z)
            as u_left,
        along(x.back_x, x.back_y, x.back_z, x.planned_axis_x, x.planned_axis_y, x.planned_axis_z)
            as u_back,
        along(x.up_x, x.up_y, x.up_z, x.planned_axis_x, x.planned_axis_y, x.planned_axis_z) as u_up,
        along(x.left_x, x.left_y, x.left_z, x.achieved_axis_x, x.achieved_axis_y, x.achieved_axis_z)
            as v_left,
        along(x.back_x, x.back_y, x.back_z, x.achieved_axis_x, x.achieved_axis_y, x.achieved_axis_z)
            as v_back,
        along(x.up_x, x.up_y, x.up_z, x.achieved_axis_x, x.achieved_axis_y, x.achieved_axis_z) as v_up
    from apices as x
),

parts as (
    select
        x.*,
        lean_deg(-x.u_left * x.to_midline, -x.u_up * x.occlusal) as planned_frontal,
        lean_deg(-x.v_left * x.to_midline, -x.v_up * x.occlusal) as achieved_frontal,
        lean_deg(x.u_back, -x.u_up * x.occlusal) as planned_sagittal,
        lean_deg(x.v_back, -x.v_up * x.occlusal) as achieved_sagittal
    from in_the_jaw as x
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
    p.d_left * p.to_midline as mesial_mm,
    -p.d_back as facial_mm,
    case when not p.is_reference_unmatched then p.d_up end as up_mm,
    p.planned_frontal as planned_frontal_tilt_deg,
    p.achieved_frontal as achieved_frontal_tilt_deg,
    p.achieved_frontal - p.planned_frontal as frontal_tilt_change_deg,
    p.planned_sagittal as planned_sagittal_tilt_deg,
    p.achieved_sagittal as achieved_sagittal_tilt_deg,
    p.achieved_sagittal - p.planned_sagittal as sagittal_tilt_change_deg,
    p.is_length_substituted,
    p.is_deliberate_change,
    p.guide_used,
    p.tre_entry_mm,
    p.tre_apex_mm,
    p.axis_sd_deg,
    p.jaw_frame_basis,
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
            end,
            case
                when p.jaw_frame_basis = 'pad_to_crest'
                    then
                        'leans are measured against the plane of pads and crest, which is not the occlusal'
                        || ' plane: their changes stand, their size does not'
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
    || coalesce(' (' || j.not_superimposed_because || ')', '') as basis_note
from joined as j
where j.achieved_frame = 'scan'

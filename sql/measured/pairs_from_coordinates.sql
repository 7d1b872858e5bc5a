-- Planned beside achieved for each pair with coordinates. Grain: case_key, achieved_source.
with p as (
    select f.* from measured.pair_figures as f
    where f.state = 'planned'
)

select
    coalesce(a.case_key, p.case_key) as case_key,
    coalesce(a.patient_key, p.patient_key) as patient_key,
    'coordinates' as basis,
    coalesce(a.achieved_source, p.achieved_source) as achieved_source,
    coalesce(a.count_readings, 0) as count_readings,
    p.angle_deg as planned_angle_deg,
    a.angle_deg as achieved_angle_deg,
    p.frontal_convergence_deg as planned_frontal_convergence_deg,
    a.frontal_convergence_deg as achieved_frontal_convergence_deg,
    p.sagittal_difference_deg as planned_sagittal_difference_deg,
    a.sagittal_difference_deg as achieved_sagittal_difference_deg,
    p.own_frontal_convergence_deg as planned_own_frontal_convergence_deg,
    a.own_frontal_convergence_deg as achieved_own_frontal_convergence_deg,
    p.own_sagittal_difference_deg as planned_own_sagittal_difference_deg,
    a.own_sagittal_difference_deg as achieved_own_sagittal_difference_deg,
    p.spacing_mm as planned_spacing_mm,
    a.spacing_mm as achieved_spacing_mm,
    p.apex_spacing_mm as planned_apex_spacing_mm,
    a.apex_spacing_mm as achieved_apex_spacing_mm,
    p.left_entry_right_apex_mm as planned_left_entry_right_apex_mm,
    a.left_entry_right_apex_mm as achieved_left_entry_right_apex_mm,
    p.right_entry_left_apex_mm as planned_right_entry_left_apex_mm,
    a.right_entry_left_apex_mm as achieved_right_entry_left_apex_mm,
    b.left_midline_mm,
    b.right_midline_mm,
    q.left_midline_mm as planned_left_midline_mm,
    q.right_midline_mm as planned_right_midline_mm,
    b.left_midline_mm - b.right_midline_mm as midline_asymmetry_mm,
    b.fulcrum_skew_deg,
    q.fulcrum_skew_deg as planned_fulcrum_skew_deg,
    b.fulcrum_forward_mm,
    q.fulcrum_forward_mm as planned_fulcrum_forward_mm,
    b.fulcrum_forward_share,
    q.fulcrum_forward_share as planned_fulcrum_forward_share,
    b.left_distal_room_mm,
    b.right_distal_room_mm,
    q.left_distal_room_mm as planned_left_distal_room_mm,
    q.right_distal_room_mm as planned_right_distal_room_mm,
    b.left_foramen_mm,
    b.right_foramen_mm,
    q.left_foramen_mm as planned_left_foramen_mm,
    q.right_foramen_mm as planned_right_foramen_mm,
    coalesce(j.jaw_frame_basis, 'plan_frame') as jaw_frame_basis,
    nullif(
        concat_ws(
            '; ',
            case
                when a.frame = 'scan'
                    then
                        'the result stands in the scan''s own coordinates: leans are given in the pair''s'
                        || ' own frame'
            end,
            case
                when j.jaw_frame_basis = 'pad_to_crest'
                    then
                        'leans are measured against the plane of pads and crest, which is not the occlusal'
                        || ' plane'
            end
        ),
        ''
    ) as basis_note
from (
    select f.* from measured.pair_figures as f
    where f.state = 'achieved'
) as a
full join p
    on a.case_key = p.case_key and a.achieved_source = p.achieved_source
left join measured.jaw_frames as j on coalesce(a.case_key, p.case_key) = j.case_key
left join measured.pair_places as b
    on a.case_key = b.case_key and a.achieved_source = b.achieved_source and b.state = 'achieved'
left join measured.pair_places as q
    on p.case_key = q.case_key and p.achieved_source = q.achieved_source and q.state = 'planned'

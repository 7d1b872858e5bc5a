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
    case
        when a.frame = 'scan'
            then
                'the result stands in the scan''s own coordinates: leans are given in the pair''s own frame'
    end as basis_note
from (
    select f.* from measured.pair_figures as f
    where f.state = 'achieved'
) as a
full join p
    on a.case_key = p.case_key and a.achieved_source = p.achieved_source

-- Each pair that counts against what its attachment is allowed, and as a whole against the occlusal
-- plane. Leans are given only where up is known to be square to that plane. Grain: case_key.
with leans as (
    select
        i.case_key,
        i.basis,
        i.achieved_source,
        any_value(i.planned_sagittal_tilt_deg) filter (i.side = 'left') as planned_left_forward,
        any_value(i.planned_sagittal_tilt_deg) filter (i.side = 'right') as planned_right_forward,
        any_value(i.achieved_sagittal_tilt_deg) filter (i.side = 'left') as left_forward,
        any_value(i.achieved_sagittal_tilt_deg) filter (i.side = 'right') as right_forward,
        any_value(i.planned_frontal_tilt_deg) filter (i.side = 'left') as planned_left_inward,
        any_value(i.planned_frontal_tilt_deg) filter (i.side = 'right') as planned_right_inward,
        any_value(i.achieved_frontal_tilt_deg) filter (i.side = 'left') as left_inward,
        any_value(i.achieved_frontal_tilt_deg) filter (i.side = 'right') as right_inward
    from summarised.implant_values as i
    -- the crest at the midline lies below the occlusal plane, and the plan's own directions are any
    where i.jaw_frame_basis in ('surveyor', 'occlusal_plane', 'mean_ridge')
    group by i.case_key, i.basis, i.achieved_source
),

allowed as (
    select
        c.case_key,
        c.attachment,
        case c.attachment
            when 'stud' then $stud_between_deg::double
            when 'ball' then $ball_between_deg::double
            when 'telescopic' then $telescopic_between_deg::double
            when 'bar' then $bar_between_deg::double
            when 'magnet' then $magnet_between_deg::double
        end as allowance_deg
    from summarised.cases_used as c
)

select
    p.case_key,
    p.patient_key,
    p.basis,
    p.achieved_source,
    a.attachment,
    a.allowance_deg,
    p.achieved_angle_deg <= a.allowance_deg as is_within_allowance,
    p.planned_basis,
    p.planned_angle_deg,
    p.achieved_angle_deg,
    p.angle_change_deg,
    p.pair_rotation_deg,
    p.planned_frontal_convergence_deg,
    p.achieved_frontal_convergence_deg,
    p.frontal_convergence_change_deg,
    p.planned_sagittal_difference_deg,
    p.achieved_sagittal_difference_deg,
    p.sagittal_difference_change_deg,
    l.planned_left_forward as planned_left_forward_lean_deg,
    l.planned_right_forward as planned_right_forward_lean_deg,
    l.left_forward as achieved_left_forward_lean_deg,
    l.right_forward as achieved_right_forward_lean_deg,
    l.left_forward - l.planned_left_forward as left_forward_lean_change_deg,
    l.right_forward - l.planned_right_forward as right_forward_lean_change_deg,
    (l.planned_left_forward + l.planned_right_forward) / 2 as planned_pair_forward_deg,
    (l.left_forward + l.right_forward) / 2 as achieved_pair_forward_deg,
    (l.left_forward + l.right_forward - l.planned_left_forward - l.planned_right_forward) / 2
        as pair_forward_change_deg,
    -- leans toward the midline point to opposite sides: half their difference is what both share
    (l.planned_right_inward - l.planned_left_inward) / 2 as planned_pair_leftward_deg,
    (l.right_inward - l.left_inward) / 2 as achieved_pair_leftward_deg,
    (l.right_inward - l.left_inward - l.planned_right_inward + l.planned_left_inward) / 2
        as pair_leftward_change_deg
from summarised.pair_values as p
inner join allowed as a on p.case_key = a.case_key
left join leans as l
    on p.case_key = l.case_key and p.basis = l.basis and p.achieved_source = l.achieved_source

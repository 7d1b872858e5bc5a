-- Where the pair stands in its jaw: midline, line of rotation of the denture (the fulcrum, through both
-- entries), foramina, room behind for later implants. Only in the jaw's own coordinates.
-- Skew: angle of that line to the line through the retromolar pads, seen from above, left implant farther
-- forward positive. Distal room: |foramen x| - |implant x| - step - later/2, across the jaw and not along
-- the arch, so it errs on the small side. Grain: case_key, achieved_source, state.
with placed as (
    select
        s.*,
        f.is_midline_known,
        f.pad_line_back_mm,
        f.crest_midline_forward_mm,
        f.left_foramen_x_mm,
        f.left_foramen_y_mm,
        f.left_foramen_z_mm,
        f.right_foramen_x_mm,
        f.right_foramen_y_mm,
        f.right_foramen_z_mm,
        f.pad_line_back_mm - (s.ly + s.ry) / 2 as forward_mm
    from measured.pair_states as s
    inner join measured.jaw_frames as f on s.case_key = f.case_key
    where s.frame = 'plan'
)

select
    p.case_key,
    p.achieved_source,
    p.state,
    case when p.is_midline_known then abs(p.lx) end as left_midline_mm,
    case when p.is_midline_known then abs(p.rx) end as right_midline_mm,
    case when p.pad_line_back_mm is not null then degrees(atan2(p.ry - p.ly, p.lx - p.rx)) end
        as fulcrum_skew_deg,
    p.forward_mm as fulcrum_forward_mm,
    p.forward_mm / nullif(p.crest_midline_forward_mm, 0) as fulcrum_forward_share,
    case
        when p.is_midline_known
            then
                abs(p.left_foramen_x_mm) - abs(p.lx) - $step_mm - $later_diameter_mm / 2
    end as left_distal_room_mm,
    case
        when p.is_midline_known
            then
                abs(p.right_foramen_x_mm) - abs(p.rx) - $step_mm - $later_diameter_mm / 2
    end as right_distal_room_mm,
    axis_to_point_mm(
        p.lx, p.ly, p.lz, p.lax, p.lay, p.laz,
        p.left_foramen_x_mm, p.left_foramen_y_mm, p.left_foramen_z_mm
    ) as left_foramen_mm,
    axis_to_point_mm(
        p.rx, p.ry, p.rz, p.rax, p.ray, p.raz,
        p.right_foramen_x_mm, p.right_foramen_y_mm, p.right_foramen_z_mm
    ) as right_foramen_mm
from placed as p

-- Entry, length and unit axis of every readable coordinate row, held or not.
-- A zero-length axis has no direction: null, never 0 degrees. Grain: row_id.
with measured as (
    select
        s.*,
        distance_mm(
            s.planned_entry_x_mm, s.planned_entry_y_mm, s.planned_entry_z_mm,
            s.planned_apex_x_mm, s.planned_apex_y_mm, s.planned_apex_z_mm
        ) as planned_axis_length_mm,
        distance_mm(
            s.achieved_entry_x_mm, s.achieved_entry_y_mm, s.achieved_entry_z_mm,
            s.achieved_apex_x_mm, s.achieved_apex_y_mm, s.achieved_apex_z_mm
        ) as achieved_axis_length_mm
    from staged.implants as s
)

select
    m.row_id,
    m.case_key,
    m.implant_key,
    m.side,
    m.planned_entry_x_mm,
    m.planned_entry_y_mm,
    m.planned_entry_z_mm,
    m.planned_axis_length_mm as planned_length_mm,
    (m.planned_apex_x_mm - m.planned_entry_x_mm)
    / nullif(m.planned_axis_length_mm, 0) as planned_axis_x,
    (m.planned_apex_y_mm - m.planned_entry_y_mm)
    / nullif(m.planned_axis_length_mm, 0) as planned_axis_y,
    (m.planned_apex_z_mm - m.planned_entry_z_mm)
    / nullif(m.planned_axis_length_mm, 0) as planned_axis_z,
    m.achieved_entry_x_mm,
    m.achieved_entry_y_mm,
    m.achieved_entry_z_mm,
    m.achieved_axis_length_mm as achieved_length_mm,
    (m.achieved_apex_x_mm - m.achieved_entry_x_mm)
    / nullif(m.achieved_axis_length_mm, 0) as achieved_axis_x,
    (m.achieved_apex_y_mm - m.achieved_entry_y_mm)
    / nullif(m.achieved_axis_length_mm, 0) as achieved_axis_y,
    (m.achieved_apex_z_mm - m.achieved_entry_z_mm)
    / nullif(m.achieved_axis_length_mm, 0) as achieved_axis_z
from measured as m

-- Entry, length and unit axis of every readable coordinate row, held or not. A result that stands in a
-- scan's own coordinates is moved into the plan's where the scan could be superimposed.
-- A zero-length axis has no direction: null, never 0 degrees. Grain: row_id.
with superimposed as (
    select g.*
    from checked.registrations as g
    where g.refusal is null
),

measured as (
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
),

axes as (
    select
        m.row_id,
        m.case_key,
        m.implant_key,
        m.side,
        m.achieved_frame,
        coalesce(m.scan, '1') as scan,
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
        m.achieved_entry_x_mm as ex,
        m.achieved_entry_y_mm as ey,
        m.achieved_entry_z_mm as ez,
        m.achieved_axis_length_mm as achieved_length_mm,
        (m.achieved_apex_x_mm - m.achieved_entry_x_mm)
        / nullif(m.achieved_axis_length_mm, 0) as ax,
        (m.achieved_apex_y_mm - m.achieved_entry_y_mm)
        / nullif(m.achieved_axis_length_mm, 0) as ay,
        (m.achieved_apex_z_mm - m.achieved_entry_z_mm)
        / nullif(m.achieved_axis_length_mm, 0) as az
    from measured as m
)

select
    a.row_id,
    a.case_key,
    a.implant_key,
    a.side,
    g.case_key is not null as is_superimposed,
    a.planned_entry_x_mm,
    a.planned_entry_y_mm,
    a.planned_entry_z_mm,
    a.planned_length_mm,
    a.planned_axis_x,
    a.planned_axis_y,
    a.planned_axis_z,
    case
        when g.case_key is null then a.ex
        else along(g.rotation_xx, g.rotation_xy, g.rotation_xz, a.ex, a.ey, a.ez) + g.shift_x_mm
    end as achieved_entry_x_mm,
    case
        when g.case_key is null then a.ey
        else along(g.rotation_yx, g.rotation_yy, g.rotation_yz, a.ex, a.ey, a.ez) + g.shift_y_mm
    end as achieved_entry_y_mm,
    case
        when g.case_key is null then a.ez
        else along(g.rotation_zx, g.rotation_zy, g.rotation_zz, a.ex, a.ey, a.ez) + g.shift_z_mm
    end as achieved_entry_z_mm,
    a.achieved_length_mm,
    case
        when g.case_key is null then a.ax
        else along(g.rotation_xx, g.rotation_xy, g.rotation_xz, a.ax, a.ay, a.az)
    end as achieved_axis_x,
    case
        when g.case_key is null then a.ay
        else along(g.rotation_yx, g.rotation_yy, g.rotation_yz, a.ax, a.ay, a.az)
    end as achieved_axis_y,
    case
        when g.case_key is null then a.az
        else along(g.rotation_zx, g.rotation_zy, g.rotation_zz, a.ax, a.ay, a.az)
    end as achieved_axis_z
from axes as a
left join superimposed as g
    on a.case_key = g.case_key and a.scan = g.scan and a.achieved_frame = 'scan'

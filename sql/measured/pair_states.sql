-- The two implants of a pair side by side, planned and achieved, from coordinates: exactly one of each
-- side, else no row. l is the left, r the right implant; (x, y, z) its entry, (u, v, w) its unit axis, in
-- the jaw's own coordinates (left, backward, up from the midline) where its landmarks tell them; else in
-- the plan's, or in the scan's where that is not superimposed. Grain: case_key, achieved_source, state.
with members as (
    select
        a.*,
        count(*) over (partition by a.case_key, a.achieved_source, a.side) as count_on_side
    from measured.axes as a
    inner join measured.labels as l
        on
            a.case_key = l.case_key
            and a.implant_key = l.implant_key
            and a.achieved_source = l.achieved_source
            and l.part = 'pair'
),

states as (
    select
        m.case_key,
        m.patient_key,
        m.achieved_source,
        m.side,
        'planned' as state,
        'plan' as frame,
        m.count_readings,
        m.planned_entry_x_mm as x,
        m.planned_entry_y_mm as y,
        m.planned_entry_z_mm as z,
        m.planned_axis_x as u,
        m.planned_axis_y as v,
        m.planned_axis_z as w,
        m.planned_length_mm as length_mm
    from members as m
    where m.count_on_side = 1
    union all
    select
        m.case_key,
        m.patient_key,
        m.achieved_source,
        m.side,
        'achieved' as state,
        m.achieved_frame as frame,
        m.count_readings,
        m.achieved_entry_x_mm as x,
        m.achieved_entry_y_mm as y,
        m.achieved_entry_z_mm as z,
        m.achieved_axis_x as u,
        m.achieved_axis_y as v,
        m.achieved_axis_z as w,
        m.achieved_length_mm as length_mm
    from members as m
    where m.count_on_side = 1
),

in_the_jaw as (
    select
        s.* replace (
            along(
                coalesce(f.left_x, 1), coalesce(f.left_y, 0), coalesce(f.left_z, 0),
                s.x - coalesce(f.origin_x_mm, 0),
                s.y - coalesce(f.origin_y_mm, 0),
                s.z - coalesce(f.origin_z_mm, 0)
            ) as x,
            along(
                coalesce(f.back_x, 0), coalesce(f.back_y, 1), coalesce(f.back_z, 0),
                s.x - coalesce(f.origin_x_mm, 0),
                s.y - coalesce(f.origin_y_mm, 0),
                s.z - coalesce(f.origin_z_mm, 0)
            ) as y,
            along(
                coalesce(f.up_x, 0), coalesce(f.up_y, 0), coalesce(f.up_z, 1),
                s.x - coalesce(f.origin_x_mm, 0),
                s.y - coalesce(f.origin_y_mm, 0),
                s.z - coalesce(f.origin_z_mm, 0)
            ) as z,
            along(coalesce(f.left_x, 1), coalesce(f.left_y, 0), coalesce(f.left_z, 0), s.u, s.v, s.w)
                as u,
            along(coalesce(f.back_x, 0), coalesce(f.back_y, 1), coalesce(f.back_z, 0), s.u, s.v, s.w)
                as v,
            along(coalesce(f.up_x, 0), coalesce(f.up_y, 0), coalesce(f.up_z, 1), s.u, s.v, s.w) as w
        )
    from states as s
    left join measured.jaw_frames as f on s.case_key = f.case_key and s.frame = 'plan'
)

select
    l.case_key,
    l.patient_key,
    l.achieved_source,
    l.state,
    l.frame,
    least(l.count_readings, r.count_readings) as count_readings,
    case when c.jaw = 'upper' then -1 else 1 end as occlusal,
    l.x as lx,
    l.y as ly,
    l.z as lz,
    l.u as lu,
    l.v as lv,
    l.w as lw,
    l.x + l.length_mm * l.u as lax,
    l.y + l.length_mm * l.v as lay,
    l.z + l.length_mm * l.w as laz,
    r.x as rx,
    r.y as ry,
    r.z as rz,
    r.u as ru,
    r.v as rv,
    r.w as rw,
    r.x + r.length_mm * r.u as rax,
    r.y + r.length_mm * r.v as ray,
    r.z + r.length_mm * r.w as raz
from in_the_jaw as l
inner join in_the_jaw as r
    on
        l.case_key = r.case_key
        and l.achieved_source = r.achieved_source
        and l.state = r.state
        and l.frame = r.frame
inner join measured.cases as c on l.case_key = c.case_key
where
    l.side = 'left'
    and r.side = 'right'
    and l.u is not null
    and r.u is not null

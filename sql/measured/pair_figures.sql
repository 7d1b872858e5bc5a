-- Angle, leans and distances between the two implants of a pair, one row a state.
-- Leans in the plan's frame need the state to stand in it; the angle, the distances and the figures in the
-- pair's own frame do not, and hold also where plan and scan do not meet.
-- Own frame: x from the right to the left entry, z along the mean of the two upper ends square to x,
-- y = z cross x (statistics of the ten pair modes). Grain: case_key, achieved_source, state.
with axes as (
    select
        s.*,
        distance_mm(s.lx, s.ly, s.lz, s.rx, s.ry, s.rz) as spacing_mm,
        -- mean of the upper ends, h = -axis
        -(s.lu + s.ru) / 2 as mx,
        -(s.lv + s.rv) / 2 as my,
        -(s.lw + s.rw) / 2 as mz
    from measured.pair_states as s
),

own_x as (
    select
        a.*,
        (a.lx - a.rx) / nullif(a.spacing_mm, 0) as xx,
        (a.ly - a.ry) / nullif(a.spacing_mm, 0) as xy,
        (a.lz - a.rz) / nullif(a.spacing_mm, 0) as xz
    from axes as a
),

own_z as (
    select
        o.*,
        o.mx - (o.mx * o.xx + o.my * o.xy + o.mz * o.xz) * o.xx as zx,
        o.my - (o.mx * o.xx + o.my * o.xy + o.mz * o.xz) * o.xy as zy,
        o.mz - (o.mx * o.xx + o.my * o.xy + o.mz * o.xz) * o.xz as zz
    from own_x as o
),

own_unit_z as (
    select
        o.* exclude (zx, zy, zz),
        o.zx / nullif(sqrt(o.zx ^ 2 + o.zy ^ 2 + o.zz ^ 2), 0) as zx,
        o.zy / nullif(sqrt(o.zx ^ 2 + o.zy ^ 2 + o.zz ^ 2), 0) as zy,
        o.zz / nullif(sqrt(o.zx ^ 2 + o.zy ^ 2 + o.zz ^ 2), 0) as zz
    from own_z as o
),

own_frame as (
    select
        o.*,
        o.zy * o.xz - o.zz * o.xy as yx,
        o.zz * o.xx - o.zx * o.xz as yy,
        o.zx * o.xy - o.zy * o.xx as yz
    from own_unit_z as o
)

select
    o.case_key,
    o.patient_key,
    o.achieved_source,
    o.state,
    o.frame,
    o.count_readings,
    angle_between_deg(o.lu, o.lv, o.lw, o.ru, o.rv, o.rw) as angle_deg,
    case
        when o.frame = 'plan'
            then lean_deg(o.lu, -o.lw * o.occlusal) + lean_deg(-o.ru, -o.rw * o.occlusal)
    end as frontal_convergence_deg,
    case
        when o.frame = 'plan'
            then lean_deg(o.lv, -o.lw * o.occlusal) - lean_deg(o.rv, -o.rw * o.occlusal)
    end as sagittal_difference_deg,
    lean_deg(
        o.lu * o.xx + o.lv * o.xy + o.lw * o.xz, -(o.lu * o.zx + o.lv * o.zy + o.lw * o.zz)
    ) - lean_deg(
        o.ru * o.xx + o.rv * o.xy + o.rw * o.xz, -(o.ru * o.zx + o.rv * o.zy + o.rw * o.zz)
    ) as own_frontal_convergence_deg,
    o.occlusal * (
        lean_deg(
            o.lu * o.yx + o.lv * o.yy + o.lw * o.yz, -(o.lu * o.zx + o.lv * o.zy + o.lw * o.zz)
        ) - lean_deg(
            o.ru * o.yx + o.rv * o.yy + o.rw * o.yz, -(o.ru * o.zx + o.rv * o.zy + o.rw * o.zz)
        )
    ) as own_sagittal_difference_deg,
    o.spacing_mm,
    distance_mm(o.lax, o.lay, o.laz, o.rax, o.ray, o.raz) as apex_spacing_mm,
    distance_mm(o.lx, o.ly, o.lz, o.rax, o.ray, o.raz) as left_entry_right_apex_mm,
    distance_mm(o.rx, o.ry, o.rz, o.lax, o.lay, o.laz) as right_entry_left_apex_mm
from own_frame as o

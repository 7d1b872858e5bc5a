-- Standard uncertainty of one reading of each source: from its own repeats where the clinic has enough, else
-- the published error. entry and apex are root mean squares in 3-D, the angle that of both planes together.
-- What a superimposition adds is not in it. Grain: basis, achieved_source.
with sources as (
    select
        o.basis,
        o.achieved_source
    from reference.source_order as o
    where o.basis <> 'films'
),

repeats as (
    select
        r.basis,
        r.achieved_source,
        max(r.within_sd) filter (r.quantity = 'entry_x_mm') as entry_x,
        max(r.within_sd) filter (r.quantity = 'entry_y_mm') as entry_y,
        max(r.within_sd) filter (r.quantity = 'entry_z_mm') as entry_z,
        max(r.within_sd) filter (r.quantity = 'apex_x_mm') as apex_x,
        max(r.within_sd) filter (r.quantity = 'apex_y_mm') as apex_y,
        max(r.within_sd) filter (r.quantity = 'apex_z_mm') as apex_z,
        max(r.within_sd) filter (r.quantity = 'lean_left_deg') as lean_left,
        max(r.within_sd) filter (r.quantity = 'lean_back_deg') as lean_back,
        max(r.within_sd) filter (r.quantity = 'frontal_angle_deg') as frontal,
        max(r.within_sd) filter (r.quantity = 'sagittal_angle_deg') as sagittal,
        max(r.within_sd) filter (r.quantity = 'angle_3d_deg') as angle_3d
    from measured.repeatability as r
    where r.examiner = 'all' and r.is_enough
    group by r.basis, r.achieved_source
),

own as (
    select
        r.basis,
        r.achieved_source,
        sqrt(r.entry_x ^ 2 + r.entry_y ^ 2 + r.entry_z ^ 2) as entry_sd_mm,
        sqrt(r.apex_x ^ 2 + r.apex_y ^ 2 + r.apex_z ^ 2) as apex_sd_mm,
        sqrt(r.lean_left ^ 2 + r.lean_back ^ 2) as angle_sd_deg,
        coalesce(
            sqrt(2 * (r.lean_left ^ 2 + r.lean_back ^ 2)),
            sqrt(r.frontal ^ 2 + r.sagittal ^ 2),
            r.angle_3d
        ) as pair_angle_sd_deg
    from repeats as r
),

published as (
    select
        e.achieved_source,
        try_cast(e.entry_sd_mm as double) as entry_sd_mm,
        try_cast(e.apex_sd_mm as double) as apex_sd_mm,
        try_cast(e.angle_sd_deg as double) as angle_sd_deg
    from reference.source_errors as e
)

select
    s.basis,
    s.achieved_source,
    case when r.pair_angle_sd_deg is not null then r.entry_sd_mm else p.entry_sd_mm end
        as entry_sd_mm,
    case when r.pair_angle_sd_deg is not null then r.apex_sd_mm else p.apex_sd_mm end as apex_sd_mm,
    case when r.pair_angle_sd_deg is not null then r.angle_sd_deg else p.angle_sd_deg end
        as angle_sd_deg,
    coalesce(r.pair_angle_sd_deg, p.angle_sd_deg * sqrt(2)) as pair_angle_sd_deg,
    r.pair_angle_sd_deg is not null as is_from_repeats
from sources as s
left join own as r on s.basis = r.basis and s.achieved_source = r.achieved_source
left join published as p on s.basis <> 'cast' and s.achieved_source = p.achieved_source

-- From pair readings to the two planes and the angle, one row a state.
-- From parallel pins of length P: frontal convergence = 2 asin((entry - tip)/(2 P)), tip corrected for a
-- known sagittal difference s: tip' = sqrt(tip^2 - (P sin s)^2). Both planes give the angle:
-- atan sqrt(tan^2 frontal + tan^2 sagittal). One plane alone is a lower bound, never the angle.
-- Pins show one plane only; the sagittal difference of the same state is taken from another reading.
-- Grain: case_key, achieved_source, state.
with wide as (
    select
        v.case_key,
        v.achieved_source,
        v.state,
        max(v.signed_value) filter (v.quantity = 'frontal_angle') as frontal_deg,
        max(v.size_value) filter (v.quantity = 'frontal_angle') as frontal_size_deg,
        max(v.signed_value) filter (v.quantity = 'sagittal_angle') as sagittal_deg,
        max(v.size_value) filter (v.quantity = 'angle_3d') as angle_deg,
        max(v.size_value) filter (v.quantity = 'entry_spacing') as spacing_mm,
        max(v.size_value) filter (v.quantity = 'tip_spacing') as tip_mm,
        max(v.pin_length_mm) as pin_mm,
        min(v.count_readings) as count_readings
    from measured.pair_reading_values as v
    group by v.case_key, v.achieved_source, v.state
),

sagittal as (
    select
        w.case_key,
        w.state,
        arg_min(w.sagittal_deg, coalesce(o.place_in_order::integer, 99)) as sagittal_deg
    from wide as w
    left join reference.source_order as o on o.basis = 'pair' and w.achieved_source = o.achieved_source
    where w.sagittal_deg is not null
    group by w.case_key, w.state
),

with_sagittal as (
    select
        w.* replace (
            coalesce(w.sagittal_deg, case when w.tip_mm is not null then s.sagittal_deg end)
                as sagittal_deg
        ),
        w.tip_mm is not null and w.sagittal_deg is null and s.sagittal_deg is not null
            as is_sagittal_borrowed
    from wide as w
    left join sagittal as s on w.case_key = s.case_key and w.state = s.state
),

from_pins as (
    select
        w.*,
        sqrt(
            greatest(w.tip_mm ^ 2 - (w.pin_mm * sin(radians(coalesce(w.sagittal_deg, 0)))) ^ 2, 0)
        ) as tip_in_plane_mm
    from with_sagittal as w
),

planes as (
    select
        f.*,
        coalesce(
            f.frontal_deg,
            case
                when abs(f.spacing_mm - f.tip_in_plane_mm) <= 2 * f.pin_mm
                    then
                        degrees(
                            2 * asin((f.spacing_mm - f.tip_in_plane_mm) / (2 * nullif(f.pin_mm, 0)))
                        )
            end
        ) as convergence_deg,
        f.frontal_deg is null
        and f.frontal_size_deg is null
        and f.tip_mm is not null as is_from_pins
    from from_pins as f
)

select
    p.case_key,
    p.achieved_source,
    p.state,
    p.convergence_deg as frontal_convergence_deg,
    p.sagittal_deg as sagittal_difference_deg,
    coalesce(
        p.angle_deg,
        degrees(
            atan(
                sqrt(
                    tan(radians(coalesce(p.convergence_deg, p.frontal_size_deg))) ^ 2
                    + tan(radians(p.sagittal_deg)) ^ 2
                )
            )
        )
    ) as angle_deg,
    p.spacing_mm,
    p.count_readings,
    p.is_from_pins,
    p.is_sagittal_borrowed,
    p.angle_deg is null
    and (p.sagittal_deg is null) <> (coalesce(p.convergence_deg, p.frontal_size_deg) is null)
        as is_one_plane
from planes as p

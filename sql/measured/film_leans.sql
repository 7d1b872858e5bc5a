-- True lean of each film view. Where the implant was also seen from the other side, its length in the
-- film's plane is shorter than its true one; that is put right twice, each view by the lean of the other.
-- A lateral film of both shadows together serves both implants. The uncertainty is that of reading alone:
-- u(lean)^2 = u(film lean)^2 + (tan(2 lean) / 2)^2 (u(width)^2/width^2 + u(length)^2/length^2) for a leaning
-- object (a ball: sin(2 lean) / 2); the distortion of the film is not in it.
-- Grain: case_key, implant_key, state, view, film_kind.
with paired as (
    select
        v.*,
        o.film_tilt_deg as other_film_deg,
        o.along as other_along,
        o.across as other_across,
        o.scale_gives as other_gives
    from measured.film_views as v
    left join measured.film_views as o
        on
            v.case_key = o.case_key
            and v.state = o.state
            and v.view <> o.view
            and v.side <> 'both'
            and (v.implant_key = o.implant_key or o.side = 'both')
    left join reference.film_kinds as k on o.film_kind = k.film_kind
    qualify
        row_number() over (
            partition by v.case_key, v.implant_key, v.state, v.view, v.film_kind
            order by
                o.film_kind = v.film_kind desc, o.side = 'both' asc,
                k.place_in_order::integer asc, o.implant_key asc
        ) = 1
),

first_pass as (
    select
        p.*,
        lean_by_scale_deg(p.scale_gives, p.film_tilt_deg, p.along, p.across) as lean_0,
        lean_by_scale_deg(p.other_gives, p.other_film_deg, p.other_along, p.other_across) as other_0
    from paired as p
),

second_pass as (
    select
        f.*,
        lean_by_scale_deg(
            f.scale_gives, f.film_tilt_deg,
            seen_along(f.scale_gives, f.along, f.lean_0, f.other_0), f.across
        ) as lean_1,
        lean_by_scale_deg(
            f.other_gives, f.other_film_deg,
            seen_along(f.other_gives, f.other_along, f.other_0, f.lean_0), f.other_across
        ) as other_1
    from first_pass as f
),

with_own_length as (
    select
        s.*,
        seen_along(s.scale_gives, s.along, s.lean_1, s.other_1) as own_along
    from second_pass as s
),

third_pass as (
    select
        w.*,
        lean_by_scale_deg(w.scale_gives, w.film_tilt_deg, w.own_along, w.across) as lean_deg,
        case
            when w.scale_gives = 'leaning'
                then film_sideways_scale(w.film_tilt_deg, w.own_along, w.across)
            when w.scale_gives = 'upright' then w.across
        end as sideways_scale
    from with_own_length as w
)

select
    t.case_key,
    t.implant_key,
    t.side,
    t.tooth,
    t.state,
    t.view,
    t.film_kind,
    t.angle_reference,
    t.count_readings,
    t.film_tilt_deg,
    t.lean_deg,
    sqrt(
        k.tilt_sd_deg::double ^ 2
        + coalesce(
            degrees(
                case
                    when t.scale_gives = 'upright' then sin(radians(2 * t.lean_deg))
                    when t.scale_gives = 'sideways' then 2 * tan(radians(t.lean_deg))
                    else tan(radians(2 * t.lean_deg))
                end / 2
            ) ^ 2
            * (
                (k.length_sd_mm::double / t.image_width_mm) ^ 2
                + (k.length_sd_mm::double / t.image_length_mm) ^ 2
            ),
            0
        )
    ) / sqrt(t.count_readings) as lean_sd_deg,
    t.difference_deg,
    t.along is not null and t.across is not null as is_corrected,
    t.along is not null
    and t.across is not null
    and t.scale_gives <> 'upright'
    and t.other_film_deg is not null as is_foreshortening_corrected,
    t.is_usual_size,
    t.spacing_image_mm / t.sideways_scale as spacing_mm,
    t.gap_to_bone_image_mm / t.own_along as gap_to_bone_mm
from third_pass as t
inner join reference.film_kinds as k on t.film_kind = k.film_kind

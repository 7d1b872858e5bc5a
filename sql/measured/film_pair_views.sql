-- The two implants of a pair on one kind of film and state: exactly one of each side, both read against the
-- same line, which may be the edge of the film, because it falls out of a difference. A lateral film of
-- both shadows together gives their mean lean and the size of their difference, never a side.
-- Grain: case_key, view, film_kind, state.
with sides as (
    select
        l.*,
        count(*) over (partition by l.case_key, l.view, l.film_kind, l.state, l.side) as count_on_side
    from measured.film_leans as l
),

two_sides as (
    select
        l.case_key,
        l.view,
        l.film_kind,
        l.state,
        l.angle_reference,
        least(l.count_readings, r.count_readings) as count_readings,
        l.lean_deg as left_lean_deg,
        r.lean_deg as right_lean_deg,
        case when l.view = 'frontal' then l.lean_deg + r.lean_deg end as frontal_convergence_deg,
        case when l.view = 'sagittal' then l.lean_deg - r.lean_deg end as sagittal_difference_deg,
        sqrt(l.lean_sd_deg ^ 2 + r.lean_sd_deg ^ 2) as difference_sd_deg,
        case when l.view = 'frontal' then list_avg([l.spacing_mm, r.spacing_mm]) end as spacing_mm,
        l.is_corrected and r.is_corrected as is_corrected
    from sides as l
    inner join sides as r
        on
            l.case_key = r.case_key
            and l.view = r.view
            and l.film_kind = r.film_kind
            and l.state = r.state
            and l.side = 'left'
            and r.side = 'right'
            and coalesce(l.angle_reference, 'film_edge') = coalesce(r.angle_reference, 'film_edge')
    where l.count_on_side = 1 and r.count_on_side = 1
),

one_shadow as (
    select
        b.case_key,
        b.view,
        b.film_kind,
        b.state,
        b.angle_reference,
        b.count_readings,
        b.lean_deg,
        b.difference_deg,
        b.lean_sd_deg,
        b.is_corrected
    from sides as b
    where b.side = 'both' and b.view = 'sagittal'
)

select
    coalesce(t.case_key, o.case_key) as case_key,
    coalesce(t.view, o.view) as view,
    coalesce(t.film_kind, o.film_kind) as film_kind,
    coalesce(t.state, o.state) as state,
    coalesce(t.angle_reference, o.angle_reference, 'film_edge') as angle_reference,
    coalesce(t.count_readings, o.count_readings) as count_readings,
    t.left_lean_deg,
    t.right_lean_deg,
    t.frontal_convergence_deg,
    t.sagittal_difference_deg,
    coalesce(abs(t.sagittal_difference_deg), o.difference_deg) as sagittal_difference_size_deg,
    case
        when
            coalesce(t.view, o.view) = 'sagittal'
            and is_zero_line(coalesce(t.angle_reference, o.angle_reference))
            then coalesce((t.left_lean_deg + t.right_lean_deg) / 2, o.lean_deg)
    end as mean_sagittal_tilt_deg,
    coalesce(t.difference_sd_deg, o.lean_sd_deg) as difference_sd_deg,
    t.spacing_mm,
    coalesce(t.is_corrected, o.is_corrected) as is_corrected
from two_sides as t
full join one_shadow as o
    on
        t.case_key = o.case_key
        and t.view = o.view
        and t.film_kind = o.film_kind
        and t.state = o.state

-- Whether a film from the front looks mirrored: with left and right exchanged, its two leans would come
-- much closer to those of the coordinates of the same state. Grain: case_key, the worst of its films.
with
on_films as (
    select
        case_key,
        state,
        coalesce(film_kind, '') as film_kind,
        min(source) as source,  -- noqa: RF04
        avg(tilt_deg) filter (side = 'left') as left_deg,
        avg(tilt_deg) filter (side = 'right') as right_deg
    from staged.films
    where view = 'frontal' and case_key is not null and state in ('planned', 'achieved')
    group by case_key, state, coalesce(film_kind, '')
),

leans as (
    select
        poses.case_key,
        poses.side,
        unnest(['planned', 'achieved']) as state,
        unnest(
            [
                if(poses.side = 'left', 1, -1) * lean_deg(poses.planned_axis_x, abs(poses.planned_axis_z)),
                if(poses.side = 'left', 1, -1) * lean_deg(poses.achieved_axis_x, abs(poses.achieved_axis_z))
            ]
        ) as mesial_deg
    from checked.poses as poses
    where poses.side in ('left', 'right')
),

by_points as (
    select
        case_key,
        state,
        avg(mesial_deg) filter (side = 'left') as left_deg,
        avg(mesial_deg) filter (side = 'right') as right_deg
    from leans
    where case_key in (select on_films.case_key from on_films)
    group by case_key, state
)

select
    on_films.case_key,
    'films' as sheet,
    min(on_films.source) as source,  -- noqa: RF04
    max(
        abs(on_films.left_deg - by_points.left_deg) + abs(on_films.right_deg - by_points.right_deg)
        - abs(on_films.left_deg - by_points.right_deg) - abs(on_films.right_deg - by_points.left_deg)
    ) as mirror_gain_deg
from on_films
inner join by_points
    on on_films.case_key = by_points.case_key and on_films.state = by_points.state
where
    on_films.left_deg + on_films.right_deg is not null
    and by_points.left_deg + by_points.right_deg is not null
group by on_films.case_key

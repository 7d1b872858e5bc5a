-- What is judged about the two pins of a case on films of the guide that was made for the picture.
-- Grain: case_key. Pins of one length show images of one length on one film; the distance between the
-- sites on the film, after scale, is that of the cast. Percent; the largest of all films of the case.
with
pins as (
    select
        films.case_key,
        films.source,
        films.side,
        films.state,
        films.view,
        coalesce(films.film_kind, '') as film_kind,
        films.image_length_mm / coalesce(films.true_length_mm, 1) as image_share,
        films.spacing_image_mm
        / film_sideways_scale(
            films.tilt_deg,
            films.image_length_mm
            / coalesce(films.true_length_mm, try_cast(scale_objects.usual_length_mm as double)),
            films.image_width_mm
            / coalesce(films.true_width_mm, try_cast(scale_objects.usual_width_mm as double))
        ) as spacing_mm
    from staged.films as films
    left join reference.scale_objects as scale_objects
        on films.scale_object = scale_objects.scale_object
    where
        films.case_key is not null
        and films.state <> 'achieved'
        and coalesce(films.scale_object, 'marker') = 'marker'
),

sides as (
    select
        case_key,
        state,
        view,
        film_kind,
        min(source) as source,
        avg(image_share) filter (side = 'left') as left_share,
        avg(image_share) filter (side = 'right') as right_share,
        avg(spacing_mm) filter (view = 'frontal') as spacing_mm
    from pins
    group by case_key, state, view, film_kind
),

sites as (
    select
        case_key,
        side,
        avg(midline_mm) as midline_mm
    from staged.cast_readings
    where case_key is not null and state = 'planned' and side is not null
    group by case_key, side
),

casts as (
    select
        case_key,
        sum(midline_mm) as spacing_mm
    from sites
    group by case_key
    having count(midline_mm) = 2
),

spacings as (
    select
        case_key,
        avg(value) as spacing_mm
    from staged.pair_readings
    where state = 'planned' and quantity = 'entry_spacing'
    group by case_key
),

films as (
    select
        case_key,
        min(source) as source,
        max(
            100 * abs(left_share - right_share) / nullif((left_share + right_share) / 2, 0)
        ) as pin_image_difference_percent,
        max(spacing_mm) as largest_spacing_mm,
        min(spacing_mm) as smallest_spacing_mm
    from sides
    group by case_key
)

select
    films.case_key,
    'films' as sheet,
    films.source,
    films.pin_image_difference_percent,
    100
    * greatest(
        abs(films.largest_spacing_mm - coalesce(spacings.spacing_mm, casts.spacing_mm)),
        abs(films.smallest_spacing_mm - coalesce(spacings.spacing_mm, casts.spacing_mm))
    )
    / nullif(coalesce(spacings.spacing_mm, casts.spacing_mm), 0) as pin_spacing_difference_percent
from films
left join casts on films.case_key = casts.case_key
left join spacings on films.case_key = spacings.case_key

-- What is judged about each row of the films sheet. Grain: row_id; null = not applicable.
-- A film shows one plane: kinds of film have the views that film_kinds.csv gives them. Both shadows
-- together are a film from the side. Scale and lean contradict each other where no true lean below 45
-- degrees could have made the picture.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
),

seen as (
    select
        films.*,
        coalesce(scale_objects.gives, 'leaning') as gives,
        kinds.views,
        cases_known.surgery_date,
        films.image_length_mm
        / nullif(
            coalesce(
                films.true_length_mm, try_cast(scale_objects.usual_length_mm as double)
            ), 0
        ) as along,
        films.image_width_mm
        / nullif(
            coalesce(
                films.true_width_mm, try_cast(scale_objects.usual_width_mm as double)
            ), 0
        ) as across
    from staged.films as films
    left join reference.film_kinds as kinds on films.film_kind = kinds.film_kind
    left join reference.scale_objects as scale_objects
        on films.scale_object = scale_objects.scale_object
    left join cases_known on films.case_key = cases_known.case_key
)

select
    row_id,
    cast(side is not null as double) as is_site_given,
    cast(if(side = 'both', null, side_of(tooth) = side) as double) as is_tooth_on_side,
    cast(if(side = 'both', view = 'sagittal', null) as double) as is_both_from_side,
    cast(list_contains(string_split(views, '|'), view) as double) as is_view_of_kind,
    tilt_deg,
    difference_deg,
    case
        when gives = 'sideways' then abs(along * sin(radians(tilt_deg)) / nullif(across, 0))
        when gives = 'leaning' then abs(along * sin(radians(2 * tilt_deg)) / nullif(across, 0))
    end as lean_sine,
    if(coalesce(film_kind, '') = 'photo_of_cast', null, along) as along_scale,
    if(coalesce(film_kind, '') = 'photo_of_cast', null, across) as across_scale,
    cast(
        if(
            true_length_mm is null or true_width_mm is null, null,
            true_length_mm = image_length_mm and true_width_mm = image_width_mm
        ) as double
    ) as is_image_as_true,
    if(gives = 'leaning', true_length_mm / nullif(true_width_mm, 0), null) as length_over_width,
    spacing_image_mm,
    gap_to_bone_image_mm,
    cast(epoch(film_date) / 86400 as double) as film_day,
    if(state = 'achieved', cast(film_date - surgery_date as double), null) as surgery_to_film_days,
    cast(reading as double) as reading
from seen

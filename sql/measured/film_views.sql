-- One film view of an implant (or of both shadows together): readings averaged as they were read, scale
-- and lean, before anything is corrected. A zero line that is not said, or that differs between readings,
-- is none. Grain: case_key, implant_key, state, view, film_kind.
with read as (
    select
        f.case_key,
        f.implant_key,
        f.side,
        f.tooth,
        f.state,
        f.view,
        coalesce(f.film_kind, 'unknown') as film_kind,
        f.angle_reference,
        f.tilt_deg,
        f.difference_deg,
        coalesce(s.gives, 'leaning') as scale_gives,
        f.image_length_mm,
        f.image_width_mm,
        coalesce(f.true_length_mm, try_cast(s.usual_length_mm as double)) as true_length_mm,
        coalesce(f.true_width_mm, try_cast(s.usual_width_mm as double)) as true_width_mm,
        f.spacing_image_mm,
        f.gap_to_bone_image_mm,
        (f.true_length_mm is null and f.image_length_mm is not null and s.usual_length_mm <> '')
        or (f.true_width_mm is null and f.image_width_mm is not null and s.usual_width_mm <> '')
            as is_usual_size
    from checked.usable_films as f
    left join reference.scale_objects as s on f.scale_object = s.scale_object
    where
        f.case_key is not null
        and f.implant_key is not null
        and f.side is not null
        and f.state is not null
        and f.view is not null
        and f.tilt_deg is not null
)

select
    r.case_key,
    r.implant_key,
    any_value(r.side) as side,
    min(r.tooth) as tooth,
    r.state,
    r.view,
    r.film_kind,
    case
        when count(r.angle_reference) = count(*) and count(distinct r.angle_reference) = 1
            then min(r.angle_reference)
    end as angle_reference,
    count(*) as count_readings,
    avg(r.tilt_deg) as film_tilt_deg,
    avg(abs(r.difference_deg)) as difference_deg,
    min(r.scale_gives) as scale_gives,
    avg(r.image_length_mm / nullif(r.true_length_mm, 0)) as along,
    avg(r.image_width_mm / nullif(r.true_width_mm, 0)) as across,
    avg(r.image_length_mm) as image_length_mm,
    avg(r.image_width_mm) as image_width_mm,
    avg(r.spacing_image_mm) as spacing_image_mm,
    avg(r.gap_to_bone_image_mm) as gap_to_bone_image_mm,
    bool_or(r.is_usual_size) as is_usual_size
from read as r
group by r.case_key, r.implant_key, r.state, r.view, r.film_kind

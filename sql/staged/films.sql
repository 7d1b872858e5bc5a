-- films as received, cast; one row per row in use. Grain: row_id.
-- implant_key: the side where only one tooth number stands there, else the tooth number.
with typed as (
    select
        r.row_id,
        l.source,
        r.row_number,
        r.row_key,
        nullif(r.case_id, '') as case_key,
        coalesce(code_of(r.side, $films_side), side_of(text_of(r.tooth))) as side,
        text_of(r.tooth) as tooth,
        code_of(r.state, $films_state) as state,
        code_of(r.view, $films_view) as view,
        code_of(r.film_kind, $films_film_kind) as film_kind,
        number_of(r.tilt_deg, l.decimal_sign) as tilt_deg,
        number_of(r.difference_deg, l.decimal_sign) as difference_deg,
        code_of(r.angle_reference, $films_angle_reference) as angle_reference,
        code_of(r.scale_object, $films_scale_object) as scale_object,
        number_of(r.true_length_mm, l.decimal_sign) as true_length_mm,
        number_of(r.image_length_mm, l.decimal_sign) as image_length_mm,
        number_of(r.true_width_mm, l.decimal_sign) as true_width_mm,
        number_of(r.image_width_mm, l.decimal_sign) as image_width_mm,
        number_of(r.spacing_image_mm, l.decimal_sign) as spacing_image_mm,
        number_of(r.gap_to_bone_image_mm, l.decimal_sign) as gap_to_bone_image_mm,
        day_of(r.film_date) as film_date,
        nullif(r.examiner, '') as examiner_code,
        whole_of(r.reading, l.decimal_sign) as reading
    from records.films as r
    inner join records.loads as l on r.load_no = l.load_no
    anti join records.rows_not_in_use as u on r.row_id = u.row_id
)

select
    t.row_id,
    t.source,
    t.row_number,
    t.row_key,
    case
        when
            coalesce(
                min(t.tooth) over (partition by t.case_key, t.side)
                = max(t.tooth) over (partition by t.case_key, t.side),
                true
            )
            then t.side
        else t.tooth
    end as implant_key,
    t.case_key,
    t.side,
    t.tooth,
    t.state,
    t.view,
    t.film_kind,
    t.tilt_deg,
    t.difference_deg,
    t.angle_reference,
    t.scale_object,
    t.true_length_mm,
    t.image_length_mm,
    t.true_width_mm,
    t.image_width_mm,
    t.spacing_image_mm,
    t.gap_to_bone_image_mm,
    t.film_date,
    t.examiner_code,
    t.reading
from typed as t

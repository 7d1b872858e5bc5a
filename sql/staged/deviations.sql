-- deviations as received, cast; one row per row in use. Grain: row_id.
-- implant_key: the side where only one tooth number stands there, else the tooth number.
with typed as (
    select
        r.row_id,
        l.source,
        r.row_number,
        r.row_key,
        nullif(r.case_id, '') as case_key,
        coalesce(code_of(r.side, $deviations_side), side_of(text_of(r.tooth))) as side,
        text_of(r.tooth) as tooth,
        number_of(r.entry_3d_mm, l.decimal_sign) as entry_3d_mm,
        number_of(r.entry_lateral_mm, l.decimal_sign) as entry_lateral_mm,
        number_of(r.depth_mm, l.decimal_sign) as depth_mm,
        number_of(r.apex_3d_mm, l.decimal_sign) as apex_3d_mm,
        number_of(r.apex_lateral_mm, l.decimal_sign) as apex_lateral_mm,
        number_of(r.angle_deg, l.decimal_sign) as angle_deg,
        number_of(r.mesial_mm, l.decimal_sign) as mesial_mm,
        number_of(r.facial_mm, l.decimal_sign) as facial_mm,
        number_of(r.frontal_tilt_change_deg, l.decimal_sign) as frontal_tilt_change_deg,
        number_of(r.sagittal_tilt_change_deg, l.decimal_sign) as sagittal_tilt_change_deg,
        yes_no_of(r.is_signed) as is_signed,
        number_of(r.planned_length_mm, l.decimal_sign) as planned_length_mm,
        code_of(r.achieved_source, $deviations_achieved_source) as achieved_source,
        nullif(r.examiner, '') as examiner_code,
        whole_of(r.reading, l.decimal_sign) as reading
    from records.deviations as r
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
    t.entry_3d_mm,
    t.entry_lateral_mm,
    t.depth_mm,
    t.apex_3d_mm,
    t.apex_lateral_mm,
    t.angle_deg,
    t.mesial_mm,
    t.facial_mm,
    t.frontal_tilt_change_deg,
    t.sagittal_tilt_change_deg,
    t.is_signed,
    t.planned_length_mm,
    t.achieved_source,
    t.examiner_code,
    t.reading
from typed as t

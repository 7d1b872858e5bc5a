-- cast_readings as received, cast; one row per row in use. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    nullif(r.case_id, '') as case_key,
    code_of(r.side, $cast_readings_side) as side,
    code_of(r.state, $cast_readings_state) as state,
    number_of(r.midline_mm, l.decimal_sign) as midline_mm,
    code_of(r.midline_how, $cast_readings_midline_how) as midline_how,
    number_of(r.crest_offset_mm, l.decimal_sign) as crest_offset_mm,
    number_of(r.left_pad_mm, l.decimal_sign) as left_pad_mm,
    number_of(r.right_pad_mm, l.decimal_sign) as right_pad_mm,
    number_of(r.between_pads_mm, l.decimal_sign) as between_pads_mm,
    code_of(r.tool, $cast_readings_tool) as tool,
    number_of(r.resolution_mm, l.decimal_sign) as resolution_mm,
    nullif(r.cast_id, '') as cast_code,
    nullif(r.examiner, '') as examiner_code,
    whole_of(r.reading, l.decimal_sign) as reading,
    day_of(r.measured_date) as measured_date
from records.cast_readings as r
inner join records.loads as l on r.load_no = l.load_no
anti join records.rows_not_in_use as u on r.row_id = u.row_id

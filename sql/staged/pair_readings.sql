-- pair_readings as received, cast; one row per row in use. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    nullif(r.case_id, '') as case_key,
    code_of(r.state, $pair_readings_state) as state,
    code_of(r.quantity, $pair_readings_quantity) as quantity,
    number_of(r.value, l.decimal_sign) as value,
    code_of(r.source, $pair_readings_source) as reading_source,
    number_of(r.pin_length_mm, l.decimal_sign) as pin_length_mm,
    yes_no_of(r.converging) as converging,
    number_of(r.camera_distance_mm, l.decimal_sign) as camera_distance_mm,
    nullif(r.examiner, '') as examiner_code,
    whole_of(r.reading, l.decimal_sign) as reading,
    day_of(r.measured_date) as measured_date
from records.pair_readings as r
inner join records.loads as l on r.load_no = l.load_no
anti join records.rows_not_in_use as u on r.row_id = u.row_id

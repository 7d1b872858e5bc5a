-- landmarks as received, cast; one row per row in use. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    nullif(r.case_id, '') as case_key,
    text_of(r.label) as label,
    code_of(r.frame, $landmarks_frame) as frame,
    text_of(r.scan) as scan,
    number_of(r.x_mm, l.decimal_sign) as x_mm,
    number_of(r.y_mm, l.decimal_sign) as y_mm,
    number_of(r.z_mm, l.decimal_sign) as z_mm,
    yes_no_of(r.near_site) as near_site,
    nullif(r.examiner, '') as examiner_code,
    whole_of(r.reading, l.decimal_sign) as reading
from records.landmarks as r
inner join records.loads as l on r.load_no = l.load_no
anti join records.rows_not_in_use as u on r.row_id = u.row_id

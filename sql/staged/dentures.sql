-- dentures as received, cast; one row per row in use. A row that names no case reaches it by
-- the practice's number. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    coalesce(nullif(r.case_id, ''), n.case_key) as case_key,
    nullif(r.practice_no, '') as patient_key,
    whole_of(r.denture_no, l.decimal_sign) as denture_no,
    day_of(r.delivery_date) as delivery_date,
    code_of(r.attachment, $dentures_attachment) as attachment,
    text_of(r.insert_grade) as insert_grade,
    day_of(r.end_date) as end_date,
    code_of(r.end_reason, $dentures_end_reason) as end_reason
from records.dentures as r
inner join records.loads as l on r.load_no = l.load_no
left join staged.number_cases as n on n.kind = 'practice' and r.practice_no = n.code
anti join records.rows_not_in_use as u on r.row_id = u.row_id

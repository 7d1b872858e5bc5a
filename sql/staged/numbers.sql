-- numbers as received, cast; one row per row in use. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    nullif(r.case_id, '') as case_key,
    nullif(r.practice_no, '') as patient_key,
    nullif(r.job_no, '') as job_no_code
from records.numbers as r
inner join records.loads as l on r.load_no = l.load_no
anti join records.rows_not_in_use as u on r.row_id = u.row_id

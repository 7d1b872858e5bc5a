-- events as received, cast; one row per row in use. A row that names no case reaches it by
-- the practice's number. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    coalesce(nullif(r.case_id, ''), n.case_key) as case_key,
    nullif(r.practice_no, '') as patient_key,
    day_of(r.event_date) as event_date,
    code_of(r.event, $events_event) as event,
    code_of(r.side, $events_side) as side,
    code_of(r.reason, $events_reason) as reason,
    whole_of(r.denture_no, l.decimal_sign) as denture_no,
    code_of(r.found_at, $events_found_at) as found_at,
    day_of(r.resolved_date) as resolved_date,
    text_of(r.note) as note
from records.events as r
inner join records.loads as l on r.load_no = l.load_no
left join staged.number_cases as n on n.kind = 'practice' and r.practice_no = n.code
anti join records.rows_not_in_use as u on r.row_id = u.row_id

-- Every visit with the denture it belongs to: the one it names, else the one worn that day.
-- Grain: row_id.
select
    v.row_id,
    d.denture_key,
    v.visit_date,
    coalesce(v.attended, true) as is_attended,
    coalesce(v.planned_visit, false) as is_planned,
    v.minutes
from checked.usable_visits as v
inner join measured.dentures as d
    on
        v.case_key = d.case_key
        and (
            v.denture_no = d.denture_no
            or (
                v.denture_no is null
                and v.visit_date >= d.start_date
                and (d.next_start_date is null or v.visit_date < d.next_start_date)
            )
        )
where v.visit_date is not null

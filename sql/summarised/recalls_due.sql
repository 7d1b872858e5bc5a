-- Dentures in use whose wearer has not been seen for too long; the run leads the codes back to the
-- clinic's own numbers in to_correct/. Grain: denture_key.
select
    d.denture_key,
    d.case_key,
    d.denture_no,
    d.start_date,
    d.last_seen_date,
    $run_date - coalesce(d.last_seen_date, d.start_date) as days_since_seen,
    $run_date - coalesce(d.last_seen_date, d.start_date) > $overdue_months * 365.25 / 12
        as is_overdue
from summarised.dentures_used as d
where
    d.end_reason in ('active', 'never_seen')
    and $run_date - coalesce(d.last_seen_date, d.start_date) > $recall_months * 365.25 / 12

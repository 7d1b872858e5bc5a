-- How recalls are kept, in numbers only. One row.
with in_use as (
    select count(*) as count_in_use
    from summarised.dentures_used as d
    where d.end_reason in ('active', 'never_seen') and d.start_date is not null
),

due as (
    select
        count(*) as count_due,
        count(*) filter (r.is_overdue) as count_overdue,
        count(*) filter (r.is_overdue and r.last_seen_date is null) as count_never_seen
    from summarised.recalls_due as r
),

visited as (
    select
        coalesce(sum(d.count_visits), 0)::bigint as count_visits,
        coalesce(sum(d.count_missed), 0)::bigint as count_missed
    from summarised.dentures_used as d
),

-- a visit no event row speaks of: something or nothing may have been done
silent as (
    select count(*) as count_content_unknown
    from measured.denture_visits as v
    inner join summarised.dentures_used as d on v.denture_key = d.denture_key
    anti join measured.denture_events as e
        on v.denture_key = e.denture_key and v.visit_date = e.event_date
    where v.is_attended and v.visit_date >= d.start_date and v.visit_date <= d.end_date
)

select
    i.count_in_use,
    r.count_due,
    r.count_overdue,
    r.count_never_seen,
    v.count_visits,
    v.count_missed,
    s.count_content_unknown
from in_use as i
cross join due as r
cross join visited as v
cross join silent as s

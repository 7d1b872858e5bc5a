-- Days on which the wearer of a denture was seen: visits attended, and days on which something was
-- found or done. Grain: denture_key, day.
select distinct
    v.denture_key,
    v.visit_date as day
from measured.denture_visits as v
where v.is_attended
union
select
    e.denture_key,
    e.event_date as day
from measured.denture_events as e
where e.event not in ('missed_recall', 'lost_to_follow_up', 'withdrew', 'died')

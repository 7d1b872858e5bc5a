-- Events of those dentures that count in a group of events: planned renewals in their own group, the
-- time of settling in as a period of its own. Grain: row_id, side, event_group.
select
    e.row_id,
    e.side,
    d.place,
    d.patient_place,
    e.denture_key,
    d.attachment,
    e.years_after_delivery,
    if(e.is_settling_in, 'settling_in', e.period) as period,
    e.visit_key,
    unnest(if(e.is_planned, ['planned'], string_split(k.event_groups, '|'))) as event_group
from measured.attachment_events as e
inner join reference.events as k on e.event = k.event
inner join summarised.dentures_used as d on e.denture_key = d.denture_key
where k.event_groups <> ''

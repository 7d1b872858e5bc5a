-- What the treating clinician should know now, not at the meeting: altered sensation, a lost implant, an
-- implant deeper than planned by more than the clinic's margin. Whatever the cycle. Grain: one a row.
-- Read from every row, also one that is set aside: a wrong date must not hide a numb lip.
with happened as (
    select
        e.case_key,
        e.event as kind,
        e.side,
        e.event_date,
        null::double as amount_mm,
        e.resolved_date is not null as is_resolved
    from staged.events as e
    inner join reference.events as k on e.event = k.event and k.is_harm = 'yes'
    where e.case_key is not null
    union all
    select
        i.case_key,
        'deeper_than_margin' as kind,
        i.side,
        null::date as event_date,
        i.depth_mm as amount_mm,
        false as is_resolved
    from measured.implants as i
    where i.depth_mm > $depth_margin_mm and i.is_preferred
)

select
    h.case_key,
    coalesce(c.patient_key, h.case_key) as patient_key,
    h.kind,
    h.side,
    coalesce(h.event_date, c.surgery_date) as event_date,
    h.amount_mm,
    h.is_resolved
from happened as h
left join measured.cases as c on h.case_key = c.case_key
where coalesce(c.setting, 'patient') = 'patient'

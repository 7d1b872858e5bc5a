-- How long each denture was under observation, and why that ended: from delivery to the earliest of
-- the last day observed, a new denture, another prosthesis, death, withdrawal. A visit at which
-- nothing had to be done is observation; no visit at all is not success but unknown.
-- Grain: denture_key.
with seen as (
    select
        s.denture_key,
        max(s.day) as last_seen_date
    from measured.denture_days_seen as s
    inner join measured.dentures as d on s.denture_key = d.denture_key
    where s.day >= d.start_date
    group by s.denture_key
),

told_by_events as (
    select
        e.denture_key,
        arg_min(e.event, e.event_date) as event,
        min(e.event_date) as event_date
    from measured.denture_events as e
    inner join measured.dentures as d on e.denture_key = d.denture_key
    where
        e.event in (
            'denture_remade', 'attachment_changed', 'died', 'withdrew', 'lost_to_follow_up'
        )
        and e.event_date >= d.start_date
    group by e.denture_key
),

-- the exit of a case is that of its latest denture; "remade" is told by the denture that follows
told as (
    select
        d.*,
        s.last_seen_date,
        case e.event
            when 'denture_remade' then 'remade'
            when 'attachment_changed' then 'attachment_changed'
            when 'lost_to_follow_up' then 'unknown'
            else e.event
        end as event_reason,
        e.event_date,
        if(
            d.is_latest
            and d.exit_status <> 'active'
            and (d.exit_status <> 'remade' or d.denture_no = 1),
            d.exit_status,
            null
        ) as exit_reason
    from measured.dentures as d
    left join seen as s on d.denture_key = s.denture_key
    left join told_by_events as e on d.denture_key = e.denture_key
),

ended as (
    select
        t.*,
        coalesce(
            t.end_reason,
            if(t.next_start_date is not null, 'remade', null),
            t.event_reason,
            t.exit_reason
        ) as reason,
        least(t.end_date, t.next_start_date, t.event_date) as known_end_date,
        greatest(t.last_seen_date, if(t.is_latest, t.last_observed_date, null))
            as last_observed
    from told as t
),

-- what the clinic itself did is seen by it; death and withdrawal may be heard of much later
closed as (
    select
        e.*,
        case
            when e.reason in ('remade', 'converted', 'attachment_changed', 'implant_lost')
                then coalesce(e.known_end_date, e.last_observed)
            else least(e.known_end_date, e.last_observed)
        end as last_day
    from ended as e
),

lasting as (
    select
        c.*,
        if(c.last_day >= c.start_date, c.last_day, null) as observed_to,
        greatest(0, coalesce(c.last_day - c.start_date + 1, 0)) / 365.25 as years
    from closed as c
),

visited as (
    select
        l.denture_key,
        count(*) filter (v.is_attended) as count_visits,
        count(*) filter (v.is_attended and v.is_planned) as count_recalls,
        count(*) filter (not v.is_attended) as count_missed,
        count(v.minutes) filter (v.is_attended) as count_timed_visits,
        sum(v.minutes) filter (v.is_attended) as minutes
    from lasting as l
    inner join measured.denture_visits as v
        on
            l.denture_key = v.denture_key
            and l.start_date <= v.visit_date
            and l.observed_to >= v.visit_date
    group by l.denture_key
)

select
    l.denture_key,
    l.case_key,
    l.patient_key,
    l.denture_no,
    l.attachment,
    l.insert_grade,
    l.start_date,
    l.observed_to as end_date,
    coalesce(
        l.reason,
        if(l.observed_to is null, 'never_seen', 'active')
    ) as end_reason,
    l.last_seen_date,
    l.years as exposure_years,
    least(l.years, $settling_in_days / 365.25) as years_settling_in,
    greatest(least(l.years, 1) - $settling_in_days / 365.25, 0) as years_0_12,
    least(greatest(l.years - 1, 0), 4) as years_12_60,
    greatest(l.years - 5, 0) as years_60_on,
    coalesce(v.count_visits, 0) as count_visits,
    coalesce(v.count_recalls, 0) as count_recalls,
    coalesce(v.count_missed, 0) as count_missed,
    coalesce(v.count_timed_visits, 0) as count_timed_visits,
    v.minutes
from lasting as l
left join visited as v on l.denture_key = v.denture_key

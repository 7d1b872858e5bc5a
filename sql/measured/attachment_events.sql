-- Every event while its denture was under observation. Renewals on schedule and the time of settling
-- in stand here too, marked, and are not counted as trouble. Grain: row_id, side.
with within_exposure as (
    select
        e.*,
        x.case_key,
        x.patient_key,
        x.denture_no,
        x.attachment,
        x.start_date,
        (e.event_date - x.start_date) / 365.25 as years_after_delivery,
        coalesce(e.reason = 'planned', false) as is_planned,
        e.event_date - x.start_date < $settling_in_days as is_settling_in
    from measured.denture_events as e
    inner join measured.exposure as x
        on
            e.denture_key = x.denture_key
            and e.event_date >= x.start_date
            and e.event_date <= x.end_date
)

-- what is found at a recall began on some day since the wearer was last seen
select
    w.row_id,
    w.denture_key,
    w.case_key,
    w.patient_key,
    w.denture_no,
    w.attachment,
    w.denture_key || ' ' || w.event_date as visit_key,
    w.event_date,
    w.years_after_delivery,
    p.period,
    w.event,
    w.event_class,
    w.component,
    w.side,
    w.reason,
    w.found_at,
    w.event_date - greatest(s.day, w.start_date) as days_since_seen,
    w.is_planned,
    w.is_settling_in,
    w.event_groups <> '' and not w.is_planned and not w.is_settling_in as is_counted
from within_exposure as w
inner join reference.follow_up_periods as p
    on
        w.years_after_delivery >= p.from_years::double
        and w.years_after_delivery < coalesce(nullif(p.to_years, '')::double, 1000)
asof left join measured.denture_days_seen as s
    on w.denture_key = s.denture_key and w.event_date > s.day

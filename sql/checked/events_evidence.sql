-- What is judged about each row of the events sheet. Grain: row_id; null = not applicable.
-- Between surgery and delivery much can happen in the mouth and to the old denture; only a part of
-- the attachment in the new denture cannot yet have given trouble.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date,
        min(delivery_date) as delivery_date
    from staged.cases
    group by case_key
),

dentures_known as (
    select
        case_key,
        denture_no,
        min(delivery_date) as delivery_date
    from staged.dentures
    group by case_key, denture_no
),

seen as (
    select
        events.*,
        kinds.component in ('insert', 'housing', 'attachment') as is_in_denture,
        count(*) over (
            partition by
                events.case_key, events.event_date, events.event, coalesce(events.denture_no, 1)
        ) as count_that_day,
        cases_known.surgery_date,
        coalesce(
            dentures_known.delivery_date,
            if(coalesce(events.denture_no, 1) = 1, cases_known.delivery_date, null)
        ) as delivery_date
    from staged.events as events
    left join reference.events as kinds on events.event = kinds.event
    left join cases_known on events.case_key = cases_known.case_key
    left join dentures_known
        on
            events.case_key = dentures_known.case_key
            and coalesce(events.denture_no, 1) = dentures_known.denture_no
)

select
    row_id,
    cast(epoch(event_date) / 86400 as double) as event_day,
    cast(epoch(resolved_date) / 86400 as double) as resolved_day,
    cast(event_date - surgery_date as double) as surgery_to_event_days,
    case
        when is_in_denture and event_date >= surgery_date
            then cast(event_date - delivery_date as double)
    end as delivery_to_part_days,
    cast(resolved_date - event_date as double) as event_to_resolved_days,
    cast(denture_no as double) as denture_no,
    cast(count_that_day as double) as count_that_day
from seen

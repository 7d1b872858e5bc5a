-- What is judged about each row of the events sheet. Grain: row_id; null = not applicable.
-- Between surgery and delivery much can happen in the mouth and to the old denture; only a part of
-- the attachment in the new denture cannot yet have given trouble. The last day observed is that of
-- the case: it says nothing against what happens to a denture made later.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date,
        min(delivery_date) as delivery_date,
        any_value(attachment) as attachment,
        max(last_observed_date) as last_observed_date,
        coalesce(bool_or(exit_status = 'remade'), false) as is_remade
    from staged.cases
    group by case_key
),

dentures_known as (
    select
        case_key,
        denture_no,
        min(delivery_date) as delivery_date,
        any_value(attachment) as attachment
    from staged.dentures
    group by case_key, denture_no
),

-- what the patient wore at last on a day, where no denture is named
worn as (
    select
        events.row_id,
        arg_max(dentures_known.denture_no, dentures_known.delivery_date) as denture_no,
        arg_max(dentures_known.attachment, dentures_known.delivery_date) as attachment
    from staged.events as events
    inner join dentures_known
        on
            events.case_key = dentures_known.case_key
            and events.event_date >= dentures_known.delivery_date
    group by events.row_id
),

changed as (
    select
        case_key,
        min(event_date) as change_date
    from staged.events
    where event = 'attachment_changed'
    group by case_key
),

seen as (
    select
        events.*,
        kinds.component in ('insert', 'housing', 'attachment') as is_in_denture,
        count(*) over (
            partition by
                events.case_key, events.event_date, events.event, coalesce(events.denture_no, 1)
        ) as count_that_day,
        kinds.families,
        cases_known.surgery_date,
        cases_known.last_observed_date,
        cases_known.is_remade
        or coalesce(events.denture_no, worn.denture_no, 1) > 1 as is_of_later_denture,
        case
            when events.event_date >= changed.change_date then null
            when events.denture_no is not null
                then coalesce(
                    dentures_known.attachment,
                    if(events.denture_no = 1, cases_known.attachment, null)
                )
            else coalesce(
                worn.attachment,
                if(coalesce(worn.denture_no, 1) = 1, cases_known.attachment, null)
            )
        end as attachment,
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
    left join worn on events.row_id = worn.row_id
    left join changed on events.case_key = changed.case_key
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
    cast(count_that_day as double) as count_that_day,
    cast(
        if(
            families <> '', list_contains(string_split(families, '|'), attachment), null
        ) as double
    ) as is_possible_for_kind,
    case
        when
            not is_of_later_denture
            and event not in ('died', 'withdrew', 'lost_to_follow_up', 'missed_recall')
            then cast(last_observed_date - event_date as double)
    end as event_to_last_observed_days
from seen

-- What is judged about the follow-up of a case over all its sheets. Grain: case_key; null = not
-- applicable. A rate needs a day to count from; silence is no success; a remade denture starts anew.
with
deliveries as (
    select
        case_key,
        delivery_date
    from staged.cases
    where delivery_date is not null
    union all
    select
        case_key,
        delivery_date
    from staged.dentures
    where delivery_date is not null
),

starts as (
    select
        case_key,
        min(delivery_date) as delivery_date
    from deliveries
    group by case_key
),

happened as (
    select
        events.case_key,
        min(events.source) as source,  -- noqa: RF04
        bool_or(kinds.component in ('insert', 'housing', 'attachment', 'denture')) as has_denture_event,
        count(*) filter (events.event = 'denture_remade') as count_remade,
        max(events.event_date) filter (
            events.event not in ('missed_recall', 'lost_to_follow_up')
        ) as last_event_date
    from staged.events as events
    left join reference.events as kinds on events.event = kinds.event
    where events.case_key is not null
    group by events.case_key
),

came as (
    select
        case_key,
        max(visit_date) filter (coalesce(attended, true)) as last_visit_date
    from staged.visits
    group by case_key
),

later_dentures as (
    select
        case_key,
        count(distinct denture_no) - 1 as count_later
    from staged.dentures
    group by case_key
),

listed as (
    select
        case_key,
        min(source) as source,  -- noqa: RF04
        max(last_observed_date) as last_observed_date,
        max(exit_status) filter (exit_status not in ('active', 'unknown')) as known_end
    from staged.cases
    where case_key is not null
    group by case_key
)

select
    coalesce(happened.case_key, listed.case_key) as case_key,
    if(happened.case_key is not null, 'events', 'cases') as sheet,
    coalesce(happened.source, listed.source) as source,  -- noqa: RF04
    cast(if(happened.has_denture_event, starts.delivery_date is not null, null) as double)
        as is_start_known,
    cast(
        case
            when starts.delivery_date is null or listed.case_key is null then null
            when $run_date - starts.delivery_date <= 365 then null
            else
                listed.known_end is not null
                or coalesce(
                    greatest(
                        listed.last_observed_date, happened.last_event_date, came.last_visit_date
                    ) > starts.delivery_date, false
                )
        end as double
    ) as is_seen_again,
    cast(
        if(
            happened.count_remade > 0,
            happened.count_remade > coalesce(later_dentures.count_later, 0), null
        ) as double
    ) as is_remake_without_denture
from happened
full join listed on happened.case_key = listed.case_key
left join starts on coalesce(happened.case_key, listed.case_key) = starts.case_key
left join came on coalesce(happened.case_key, listed.case_key) = came.case_key
left join later_dentures
    on coalesce(happened.case_key, listed.case_key) = later_dentures.case_key

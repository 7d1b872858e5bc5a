-- What had become of the dentures delivered long enough ago, 1, 3, 5 and 10 years after: six fields
-- that add up to them. Grain: attachment, years_after.
-- Fields after Payne et al. 2001; what each means here stands in the contract.
with due as (
    select
        d.*,
        h.years_after,
        d.start_date + to_years(h.years_after) as due_date
    from summarised.dentures_used as d
    cross join (
        values
        (1), (3), (5), (10)
    ) as h (years_after)
    -- dentures of a pooled audit have no day of delivery, so none is known to be due
    where d.start_date is not null
),

mended as (
    select
        d.denture_key,
        d.years_after,
        true as is_mended
    from due as d
    inner join measured.attachment_events as e on d.denture_key = e.denture_key
    where
        e.event_class in ('repair', 'replacement')
        and not e.is_planned
        and e.event_date < d.due_date
    group by d.denture_key, d.years_after
),

judged as (
    select
        d.attachment,
        d.years_after,
        case
            when d.due_date > $run_date then 'not yet due'
            when
                d.end_reason in ('remade', 'converted', 'attachment_changed', 'implant_lost')
                and d.end_date < d.due_date
                then 'failed'
            when d.end_reason = 'died' and d.end_date < d.due_date then 'died'
            when d.end_date is null or d.end_date < d.due_date then 'unknown'
            when m.is_mended then 'repaired'
            when d.last_seen_date < d.due_date or d.last_seen_date is null then 'survived'
            else 'success'
        end as field
    from due as d
    left join mended as m on d.denture_key = m.denture_key and d.years_after = m.years_after
),

by_kind as (
    select
        unnest([j.attachment, 'all']) as attachment,
        j.years_after,
        j.field
    from judged as j
)

select
    b.attachment,
    b.years_after,
    count(*) as count_delivered,
    count(*) filter (b.field <> 'not yet due') as count_due,
    count(*) filter (b.field = 'success') as count_success,
    count(*) filter (b.field = 'survived') as count_survived,
    count(*) filter (b.field = 'repaired') as count_repaired,
    count(*) filter (b.field = 'failed') as count_failed,
    count(*) filter (b.field = 'died') as count_died,
    count(*) filter (b.field = 'unknown') as count_unknown
from by_kind as b
group by b.attachment, b.years_after

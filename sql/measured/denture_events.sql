-- Every event with the denture it happened to: the one it names, else the one worn that day (what
-- ends a denture belongs to the one worn before). Two parts served at one visit are two rows.
-- Grain: row_id, side.
with dated as (
    select
        e.row_id,
        e.case_key,
        e.denture_no,
        e.event_date,
        e.event,
        e.reason,
        e.found_at,
        k.event_class,
        k.component,
        k.event_groups,
        e.event in ('denture_remade', 'attachment_changed') as is_end,
        case
            when e.side = 'both' and k.component in ('insert', 'housing', 'abutment', 'implant')
                then ['left', 'right']
            else [e.side]
        end as sides
    from checked.usable_events as e
    inner join reference.events as k on e.event = k.event
    where e.case_key is not null and e.event_date is not null
)

select
    e.row_id,
    d.denture_key,
    e.event_date,
    e.event,
    e.event_class,
    e.component,
    e.event_groups,
    e.reason,
    e.found_at,
    unnest(e.sides) as side
from dated as e
inner join measured.dentures as d
    on
        e.case_key = d.case_key
        and (
            e.denture_no = d.denture_no
            or (
                e.denture_no is null
                and (
                    if(e.is_end, e.event_date > d.start_date, e.event_date >= d.start_date)
                )
                and (
                    d.next_start_date is null
                    or if(e.is_end, e.event_date <= d.next_start_date, e.event_date < d.next_start_date)
                )
            )
        )

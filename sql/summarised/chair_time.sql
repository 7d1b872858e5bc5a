-- Minutes in the chair a denture and year. A visit whose minutes are not recorded counts as long as
-- the timed visits of its kind of attachment on average. Grain: attachment.
with by_kind as (
    select
        unnest([d.attachment, 'all']) as attachment,
        d.exposure_years,
        d.count_visits,
        d.count_timed_visits,
        d.minutes
    from summarised.dentures_used as d
    where d.exposure_years > 0
),

summed as (
    select
        b.attachment,
        count(*) as count_dentures,
        sum(b.exposure_years) as exposure_years,
        sum(b.count_visits)::bigint as count_visits,
        sum(b.count_timed_visits)::bigint as count_timed_visits,
        sum(b.minutes) as minutes
    from by_kind as b
    group by b.attachment
)

select
    s.attachment,
    s.count_dentures,
    s.exposure_years,
    s.count_visits,
    s.count_timed_visits,
    s.minutes,
    s.minutes / s.count_timed_visits * s.count_visits / s.exposure_years as minutes_per_year
from summed as s

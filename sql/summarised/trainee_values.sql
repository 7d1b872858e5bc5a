-- Figures of trainees' own cases with patients that may share a mean: for each measure the source that
-- most of them have, no screening films, no departure on purpose.
-- Grain: measure, trainee_code, case_key, side.
with fitting as (
    select t.*
    from summarised.own_trend as t
    inner join reference.source_order as s on t.sources = s.basis || ', ' || s.achieved_source
    where
        t.setting = 'patient'
        and s.grade <> 'screening'
        and not coalesce(t.is_deliberate_change, false)
),

counted as (
    select
        f.measure,
        f.sources,
        row_number() over (
            partition by f.measure order by count(*) desc, f.sources
        ) as place
    from fitting as f
    group by f.measure, f.sources
)

select
    f.measure,
    f.trainee_code,
    f.case_key,
    f.case_number,
    f.side,
    f.value,
    f.sources
from fitting as f
inner join counted as c on f.measure = c.measure and f.sources = c.sources
where c.place = 1

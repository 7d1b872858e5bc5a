-- How far the records reach, stage by stage of the workflow. Grain: stage.
with guided as (
    select c.case_key from summarised.cases_used as c
    where c.guide_code is not null
    union
    select g.case_key from staged.guides as g
    where g.case_key is not null
),

in_figures as (
    select i.case_key from measured.implants as i
    where i.is_preferred and i.part = 'pair'
    union
    select p.case_key from measured.pairs as p
    where p.is_preferred
),

-- cases of a pooled audit have no day of delivery, but the time their dentures were watched
worn as (
    select distinct x.case_key from measured.exposure as x
),

counted as (
    select
        count(*) as count_all,
        count(*) filter (c.has_plan) as count_with_plan,
        count(*) filter (
            c.guide_method <> 'none' and c.guidance not in ('freehand', 'dynamic', 'robotic')
            -- the number of a guide never leaves a centre
            and c.centre_code is null
        ) as count_to_guide,
        count(*) filter (
            c.guide_method <> 'none' and c.guidance not in ('freehand', 'dynamic', 'robotic')
            and g.case_key is not null
        ) as count_with_guide,
        count(*) filter (c.status <> 'planned') as count_operated,
        count(*) filter (c.status <> 'planned' and c.has_plan) as count_operated_with_plan,
        count(*) filter (c.status <> 'planned' and c.has_achieved) as count_operated_with_achieved,
        count(*) filter (c.status <> 'planned' and c.has_plan and c.has_achieved) as count_both,
        count(*) filter (c.status <> 'planned' and f.case_key is not null) as count_in_figures,
        count(*) filter (c.delivery_date is not null or w.case_key is not null) as count_delivered,
        count(*) filter (
            (c.delivery_date is not null or w.case_key is not null) and c.count_visits > 0
        ) as count_recalled
    from summarised.cases_used as c
    left join guided as g on c.case_key = g.case_key
    left join in_figures as f on c.case_key = f.case_key
    left join worn as w on c.case_key = w.case_key
)

select
    s.stage,
    s.place_in_order,
    s.count_cases,
    s.count_expected
from counted as n
cross join lateral (
    values
    ('on the list', 1, n.count_all, n.count_all),
    ('with a plan on record', 2, n.count_with_plan, n.count_all),
    ('with the guide on record', 3, n.count_with_guide, n.count_to_guide),
    ('operated', 4, n.count_operated, n.count_all),
    ('operated, with the result measured', 5, n.count_operated_with_achieved, n.count_operated),
    ('operated, with plan and result', 6, n.count_both, n.count_operated),
    ('operated, with a figure', 7, n.count_in_figures, n.count_operated),
    ('overdenture delivered', 8, n.count_delivered, n.count_operated),
    ('delivered, seen again since', 9, n.count_recalled, n.count_delivered)
) as s (stage, place_in_order, count_cases, count_expected)

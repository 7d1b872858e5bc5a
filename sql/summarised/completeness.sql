-- How far the records reach, stage by stage of the workflow. Grain: stage.
with counted as (
    select
        count(*) as count_all,
        count(*) filter (c.has_plan) as count_with_plan,
        count(*) filter (c.status <> 'planned') as count_operated,
        count(*) filter (c.status <> 'planned' and c.has_plan) as count_operated_with_plan,
        count(*) filter (c.status <> 'planned' and c.has_achieved) as count_operated_with_achieved,
        count(*) filter (c.status <> 'planned' and c.has_plan and c.has_achieved) as count_both,
        count(*) filter (c.delivery_date is not null) as count_delivered,
        count(*) filter (c.delivery_date is not null and c.count_visits > 0) as count_recalled
    from summarised.cases_used as c
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
    ('operated', 3, n.count_operated, n.count_all),
    ('operated, with the result measured', 4, n.count_operated_with_achieved, n.count_operated),
    ('operated, with plan and result', 5, n.count_both, n.count_operated),
    ('overdenture delivered', 6, n.count_delivered, n.count_operated),
    ('delivered, seen again since', 7, n.count_recalled, n.count_delivered)
) as s (stage, place_in_order, count_cases, count_expected)

-- How often the plan was looked at on films, and changed by it. Grain: film_check.
with described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

filmed as (
    select distinct v.case_key from measured.film_views as v
    where v.state = 'planned'
),

answers as (
    select
        w.film_check,
        w.place_in_order
    from (
        values ('changed', 1), ('accepted', 2), ('not_done', 3), ('not known', 4)
    ) as w (film_check, place_in_order)
),

checked_plans as (
    select
        u.case_key,
        coalesce(d.film_check, 'not known') as film_check,
        f.case_key is not null as has_film_of_plan
    from summarised.cases_used as u
    left join described as d on u.case_key = d.case_key
    left join filmed as f on u.case_key = f.case_key
),

counted as (
    select
        p.film_check,
        count(*) as count_cases,
        count(*) filter (p.has_film_of_plan) as count_with_film
    from checked_plans as p
    group by p.film_check
)

select
    w.film_check,
    w.place_in_order,
    coalesce(c.count_cases, 0) as count_cases,
    coalesce(c.count_with_film, 0) as count_with_film,
    (select count(*) from summarised.cases_used) as count_expected
from answers as w
left join counted as c on w.film_check = c.film_check

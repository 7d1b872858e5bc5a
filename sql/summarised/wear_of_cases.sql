-- How worn the drill set was and of which lot the guide is, where a case tells. Grain: case_key.
with described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
)

select
    u.case_key,
    d.drill_set_uses,
    g.material_lot
from summarised.cases_used as u
left join described as d on u.case_key = d.case_key
left join measured.guides_used as g on u.case_key = g.case_key
where coalesce(d.drill_set_uses::varchar, g.material_lot) is not null

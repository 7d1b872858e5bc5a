-- Cases whose records tell something of the jaw's own directions, counted from 0. Grain: case_key.
with told as (
    select distinct
        l.case_key,
        false as is_surveyor
    from checked.jaw_landmarks as l
    union all
    select
        c.case_key,
        true as is_surveyor
    from staged.cases as c
    where c.case_key is not null and c.plan_coordinates_from = 'surveyor'
)

select
    row_number() over (order by t.case_key) - 1 as case_no,
    t.case_key,
    bool_or(t.is_surveyor) as is_surveyor
from told as t
group by t.case_key

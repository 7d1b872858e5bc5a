-- Was the result measured by somebody who also operated, finished or made the guide: self, else other.
-- Grain: case_key, for cases whose examiner is on record.
with involved as (
    select
        c.case_key,
        unnest([c.operator_code, c.finished_by_code]) as person
    from checked.usable_cases as c
    union
    select
        g.case_key,
        g.maker_code as person
    from checked.usable_guides as g
    where g.case_key is not null
)

select
    e.case_key,
    case when bool_or(i.person is not null) then 'self' else 'other' end as measured_by
from measured.examiners as e
left join involved as i on e.case_key = i.case_key and e.examiner_code = i.person
group by e.case_key

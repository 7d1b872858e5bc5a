-- Guides by who made them, for the return to the laboratory: each guide once, whatever its steps. Those of
-- cases that count, and those of no known case that were made within the cycle; a case that names only a
-- laboratory has one guide without a slip. An in-house maker stands for a laboratory where none is named,
-- but nobody who also plans, operates or supervises. Grain: lab_code, guide_code, case_key.
with described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

everybody as (
    select unnest([c.planned_by_code, c.operator_code, c.finished_by_code, c.supervisor_code]) as person
    from staged.cases as c
),

people as (
    select distinct e.person from everybody as e
    where e.person is not null
),

slips as (
    select
        s.*,
        coalesce(s.lab_code, d.guide_lab_code) as named_lab,
        u.case_key is not null as is_of_case,
        s.case_key is null
        and ($cycle_from::date is null or s.made_date >= $cycle_from::date)
        and ($cycle_to::date is null or s.made_date <= $cycle_to::date) as is_of_none
    from checked.usable_guides as s
    left join summarised.cases_used as u on s.case_key = u.case_key
    left join described as d on s.case_key = d.case_key
),

guides as (
    select
        s.guide_code,
        s.case_key,
        coalesce(max(s.named_lab), max(s.maker_code)) as lab_code,
        case when max(s.named_lab) is null then 'maker' else 'lab' end as made_by,
        coalesce(arg_max(s.kind, coalesce(s.step, 0)), 'not known') as kind,
        max(s.made_date) as made_date,
        coalesce(arg_max(s.fit, coalesce(s.step, 0)), 'not known') as fit,
        arg_max(s.material_lot, coalesce(s.step, 0)) as material_lot,
        bool_or(s.remake_of_code is not null) as is_remake
    from slips as s
    where s.is_of_case or s.is_of_none
    group by s.guide_code, s.case_key
),

with_slip as (
    select g.case_key from guides as g
    where g.case_key is not null and g.kind = 'surgical'
),

without_slip as (
    select
        d.guide_code,
        d.case_key,
        d.guide_lab_code as lab_code,
        'lab' as made_by,
        'surgical' as kind,
        null::date as made_date,
        'not known' as fit,
        null::varchar as material_lot,
        false as is_remake
    from described as d
    inner join summarised.cases_used as u on d.case_key = u.case_key
    where
        d.guide_lab_code is not null
        and d.case_key not in (select w.case_key from with_slip as w)
),

every_guide as (
    select * from guides
    union all by name
    select * from without_slip
),

remade as (
    select distinct s.remake_of_code from checked.usable_guides as s
    where s.remake_of_code is not null
)

select
    e.lab_code,
    e.made_by,
    e.guide_code,
    e.case_key,
    e.kind,
    e.made_date,
    e.fit,
    e.material_lot,
    e.is_remake,
    r.remake_of_code is not null as is_remade,
    -- what was read of the guide as made belongs to the guide that was used
    e.kind = 'surgical'
    and e.case_key is not null
    and coalesce(l.guide_code = e.guide_code, l.case_key is null) as is_used
from every_guide as e
left join remade as r on e.guide_code = r.remake_of_code
left join measured.guides_used as l on e.case_key = l.case_key
where
    e.lab_code is not null
    and (e.made_by = 'lab' or e.lab_code not in (select p.person from people as p))

-- The guide as made between plan and result: lab part = guide less plan, clinical part = result less guide,
-- of signed quantities. An unsigned angle is shown in its three states and never subtracted, because its
-- parts do not add up. The reading error of the guide stands in both parts, with opposite sign. Plan and
-- guide are taken from the source of the result, else from the best one there is.
-- Grain: basis, case_key, side, quantity, achieved_source.
with results as (
    select v.* from measured.guide_values as v
    where v.state = 'achieved'
),

guides as (
    select v.* from measured.guide_values as v
    where v.state = 'guide'
),

plans as (
    select v.* from measured.guide_values as v
    where v.state = 'planned'
),

wanted as (
    select
        r.basis,
        r.case_key,
        r.side,
        r.quantity,
        r.achieved_source,
        r.value as achieved
    from results as r
    union all
    select
        g.basis,
        g.case_key,
        g.side,
        g.quantity,
        arg_min(g.achieved_source, g.place_in_order) as achieved_source,
        null::double as achieved
    from guides as g
    anti join results as r
        on
            g.basis = r.basis
            and g.case_key = r.case_key
            and g.side is not distinct from r.side
            and g.quantity = r.quantity
    group by g.basis, g.case_key, g.side, g.quantity
),

with_guide as (
    select
        w.*,
        g.achieved_source as guide_source,
        g.value as guide
    from wanted as w
    inner join guides as g
        on
            w.basis = g.basis
            and w.case_key = g.case_key
            and w.side is not distinct from g.side
            and w.quantity = g.quantity
    qualify
        row_number() over (
            partition by w.basis, w.case_key, w.side, w.quantity, w.achieved_source
            order by
                g.achieved_source = w.achieved_source desc, g.place_in_order asc,
                g.achieved_source asc
        ) = 1
),

with_plan as (
    select
        w.*,
        p.value as planned,
        p.is_by_rule
    from with_guide as w
    left join plans as p
        on
            w.basis = p.basis
            and w.case_key = p.case_key
            and w.side is not distinct from p.side
            and w.quantity = p.quantity
    qualify
        row_number() over (
            partition by w.basis, w.case_key, w.side, w.quantity, w.achieved_source
            order by
                p.achieved_source = w.achieved_source desc, p.is_by_rule asc,
                p.place_in_order asc, p.achieved_source asc
        ) = 1
)

select
    w.case_key,
    c.patient_key,
    w.basis,
    w.achieved_source,
    w.guide_source,
    w.side,
    w.quantity,
    w.planned,
    w.guide,
    w.achieved,
    case when w.quantity <> 'angle_deg' then w.guide - w.planned end as lab_part,
    case when w.quantity <> 'angle_deg' then w.achieved - w.guide end as clinical_part,
    case
        when w.is_by_rule then 'rule'
        when w.planned is not null then 'record'
    end as planned_basis
from with_plan as w
inner join measured.cases as c on w.case_key = c.case_key

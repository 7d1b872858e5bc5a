-- What the film of the radiographic guide showed of the pair against what was achieved, both signed: how the
-- two lean toward each other, and how they differ seen from the side. These need no zero line, so a tilted
-- head is no matter. Plans that the film changed are left out, because their film shows the plan given up,
-- and so are results read from a film. Grain: case_key, quantity.
with filmed as (
    select
        s.case_key,
        coalesce(o.place_in_order::integer, 99) as place_in_order,
        s.achieved_source as film,
        unnest(['frontal_convergence_deg', 'sagittal_difference_deg']) as quantity,
        unnest([s.frontal_convergence_deg, s.sagittal_difference_deg]) as on_film
    from measured.film_pair_states as s
    left join reference.source_order as o
        on o.basis = 'films' and s.achieved_source = o.achieved_source
    where s.state = 'planned'
),

one_film as (
    select f.*
    from filmed as f
    where f.on_film is not null
    qualify
        row_number() over (
            partition by f.case_key, f.quantity
            order by f.place_in_order, f.film
        ) = 1
),

results as (
    select
        p.case_key,
        p.patient_key,
        unnest(['frontal_convergence_deg', 'sagittal_difference_deg']) as quantity,
        unnest([p.achieved_frontal_convergence_deg, p.achieved_sagittal_difference_deg]) as achieved
    from summarised.pair_values as p
    left join reference.source_order as o
        on p.basis = o.basis and p.achieved_source = o.achieved_source
    where coalesce(o.grade <> 'screening', true)
),

described as (
    select
        c.case_key,
        c.film_check
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
)

select
    r.case_key,
    r.patient_key,
    r.quantity,
    f.film,
    f.on_film,
    r.achieved,
    r.achieved - f.on_film as difference
from results as r
inner join one_film as f on r.case_key = f.case_key and r.quantity = f.quantity
left join described as d on r.case_key = d.case_key
where r.achieved is not null and coalesce(d.film_check, '') <> 'changed'

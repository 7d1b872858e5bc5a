-- What was read in the three states, one value a row: plan, guide as made, result. Only cases whose guide
-- was read. side is null for what belongs to the pair. Lengths from the midline mark and the crest, as read
-- on the cast; angles with their sign. Grain: basis, case_key, side, quantity, achieved_source, state.
with cast_values as (
    select
        s.case_key,
        s.achieved_source,
        s.state,
        s.side,
        unnest(['midline_mm', 'crest_offset_mm']) as quantity,
        unnest([s.midline_mm, s.crest_offset_mm]) as value,
        unnest([s.is_by_rule, false]) as is_by_rule
    from measured.cast_sites as s
),

cast_spacings as (
    select
        v.case_key,
        v.achieved_source,
        v.state,
        null::varchar as side,
        'spacing_mm' as quantity,
        sum(v.value) as value,
        bool_or(v.is_by_rule) as is_by_rule
    from cast_values as v
    where v.quantity = 'midline_mm'
    group by v.case_key, v.achieved_source, v.state
    having count(v.value) = 2
),

pair_states as (
    select
        s.case_key,
        s.achieved_source,
        s.state,
        s.frontal_convergence_deg,
        s.sagittal_difference_deg,
        s.spacing_mm,
        s.angle_deg,
        false as is_axis_by_rule,
        false as is_spacing_by_rule
    from measured.pair_reading_states as s
    where s.state <> 'planned'
    union all
    select
        p.case_key,
        p.achieved_source,
        'planned' as state,
        p.frontal_convergence_deg,
        p.sagittal_difference_deg,
        p.spacing_mm,
        p.angle_deg,
        p.is_axis_by_rule,
        p.is_spacing_by_rule
    from measured.pair_plans as p
),

pair_values as (
    select
        s.case_key,
        s.achieved_source,
        s.state,
        null::varchar as side,
        unnest(['frontal_convergence_deg', 'sagittal_difference_deg', 'spacing_mm', 'angle_deg'])
            as quantity,
        unnest(
            [s.frontal_convergence_deg, s.sagittal_difference_deg, s.spacing_mm, s.angle_deg]
        ) as value,
        unnest([s.is_axis_by_rule, s.is_axis_by_rule, s.is_spacing_by_rule, s.is_axis_by_rule])
            as is_by_rule
    from pair_states as s
),

film_values as (
    select
        s.case_key,
        s.achieved_source,
        s.state,
        null::varchar as side,
        unnest(['frontal_convergence_deg', 'sagittal_difference_deg', 'spacing_mm', 'angle_deg'])
            as quantity,
        unnest(
            [s.frontal_convergence_deg, s.sagittal_difference_deg, s.spacing_mm, s.angle_deg]
        ) as value,
        false as is_by_rule
    from measured.film_pair_states as s
),

every_value as (
    select
        'cast' as basis,
        v.*
    from cast_values as v
    union all
    select
        'cast' as basis,
        v.*
    from cast_spacings as v
    union all
    select
        'pair' as basis,
        v.*
    from pair_values as v
    union all
    select
        'films' as basis,
        v.*
    from film_values as v
)

select
    v.basis,
    v.case_key,
    v.side,
    v.quantity,
    v.achieved_source,
    v.state,
    v.value,
    v.is_by_rule,
    coalesce(o.place_in_order::integer, 99) as place_in_order
from every_value as v
left join reference.source_order as o
    on v.basis = o.basis and v.achieved_source = o.achieved_source
semi join (
    select g.* from every_value as g
    where g.state = 'guide' and g.value is not null
) as g
    on
        v.basis = g.basis
        and v.case_key = g.case_key
        and v.side is not distinct from g.side
        and v.quantity = g.quantity
where v.value is not null

-- The plan that a reading of the pair is held against: that of its own source where there is one, else the
-- best one of the case, because a plan is a plan, whatever it was read from. Where no angle is on record
-- the axis rule "surveyor" plans both axes parallel; where no spacing is, the site rule gives it.
-- Grain: case_key, achieved_source.
with ranked as (
    select
        s.*,
        coalesce(o.place_in_order::integer, 99) as place_in_order
    from measured.pair_reading_states as s
    left join reference.source_order as o on o.basis = 'pair' and s.achieved_source = o.achieved_source
),

best as (
    select r.* from ranked as r
    where r.state = 'planned'
    qualify row_number() over (partition by r.case_key order by r.place_in_order, r.achieved_source) = 1
),

sources as (
    select distinct
        s.case_key,
        s.achieved_source
    from measured.pair_reading_states as s
),

found as (
    select
        s.case_key,
        s.achieved_source,
        p.achieved_source as planned_source,
        coalesce(q.angle_deg, p.angle_deg) as angle_deg,
        coalesce(q.frontal_convergence_deg, p.frontal_convergence_deg) as frontal_convergence_deg,
        coalesce(q.sagittal_difference_deg, p.sagittal_difference_deg) as sagittal_difference_deg,
        coalesce(q.spacing_mm, p.spacing_mm) as spacing_mm
    from sources as s
    left join best as p on s.case_key = p.case_key
    left join ranked as q
        on
            s.case_key = q.case_key and s.achieved_source = q.achieved_source and q.state = 'planned'
),

ruled as (
    select
        f.*,
        $axis_rule = 'surveyor'
        and coalesce(f.angle_deg, f.frontal_convergence_deg, f.sagittal_difference_deg) is null
            as is_axis_by_rule,
        $site_rule_mm::double is not null and f.spacing_mm is null as is_spacing_by_rule
    from found as f
)

select
    r.case_key,
    r.achieved_source,
    r.planned_source,
    case when r.is_axis_by_rule then 0 else r.angle_deg end as angle_deg,
    case when r.is_axis_by_rule then 0 else r.frontal_convergence_deg end as frontal_convergence_deg,
    case when r.is_axis_by_rule then 0 else r.sagittal_difference_deg end as sagittal_difference_deg,
    case when r.is_spacing_by_rule then 2 * $site_rule_mm::double else r.spacing_mm end as spacing_mm,
    coalesce(r.is_axis_by_rule, false) as is_axis_by_rule,
    coalesce(r.is_spacing_by_rule, false) as is_spacing_by_rule
from ruled as r
where
    r.planned_source is not null
    or coalesce(r.is_axis_by_rule, false)
    or coalesce(r.is_spacing_by_rule, false)

-- Sites measured on a cast, readings averaged. A plan is a plan, whatever tool it was read with, so a
-- result or guide without a plan of its own tool takes that of another; where no plan is on record at all,
-- the clinic's site rule fills it, and says so. Grain: case_key, side, achieved_source, state.
with averaged as (
    select
        r.case_key,
        r.side,
        coalesce('cast_' || r.tool, 'unknown') as achieved_source,
        r.state,
        avg(r.midline_mm) as midline_mm,
        avg(r.crest_offset_mm) as crest_offset_mm,
        max(r.midline_how) as midline_how,
        avg(r.left_pad_mm) as left_pad_mm,
        avg(r.right_pad_mm) as right_pad_mm,
        avg(r.between_pads_mm) as between_pads_mm,
        greatest(count(r.midline_mm), count(r.left_pad_mm)) as count_readings,
        coalesce(max(r.resolution_mm), max(try_cast(t.resolution_mm as double)))
        / sqrt(12 * count(*)) as reading_sd_mm
    from checked.usable_cast_readings as r
    left join reference.tools as t on r.tool = t.tool
    where r.side is not null and r.state is not null and r.case_key is not null
    group by r.case_key, r.side, coalesce('cast_' || r.tool, 'unknown'), r.state
),

plans as (
    select a.* from averaged as a
    where a.state = 'planned'
),

without_plan as (
    select distinct
        a.case_key,
        a.side,
        a.achieved_source
    from averaged as a
    anti join plans as p
        on a.case_key = p.case_key and a.side = p.side and a.achieved_source = p.achieved_source
),

filled as (
    select
        p.* replace (
            w.case_key as case_key,
            w.side as side,
            w.achieved_source as achieved_source,
            'planned' as state
        )
    from without_plan as w
    left join plans as p
        on w.case_key = p.case_key and w.side = p.side
    left join reference.source_order as o on o.basis = 'cast' and p.achieved_source = o.achieved_source
    where p.case_key is not null or $site_rule_mm::double is not null
    qualify
        row_number() over (
            partition by w.case_key, w.side, w.achieved_source
            order by coalesce(o.place_in_order::integer, 99) asc, p.achieved_source asc
        ) = 1
),

every_state as (
    select * from averaged
    union all
    select * from filled
),

ruled as (
    select
        e.*,
        e.state = 'planned'
        and e.midline_mm is null
        and e.left_pad_mm is null
        and $site_rule_mm::double is not null as is_by_rule
    from every_state as e
)

select
    r.case_key,
    r.side,
    r.achieved_source,
    r.state,
    case when r.is_by_rule then $site_rule_mm::double else r.midline_mm end as midline_mm,
    r.crest_offset_mm,
    r.midline_how,
    r.left_pad_mm,
    r.right_pad_mm,
    coalesce(
        r.between_pads_mm,
        avg(r.between_pads_mm) over (partition by r.case_key, r.achieved_source, r.state)
    ) as between_pads_mm,
    coalesce(r.count_readings, 0) as count_readings,
    case when not r.is_by_rule then r.reading_sd_mm end as reading_sd_mm,
    r.is_by_rule
from ruled as r

-- Distances from the midline and between the sites, measured on the cast. Where the midline was not
-- marked, the spacing seen from above comes from the distances to both retromolar pads.
-- Grain: case_key, achieved_source.
with sides as (
    select
        s.case_key,
        s.achieved_source,
        max(s.midline_mm) filter (s.side = 'left' and s.state = 'planned')
            as planned_left_midline_mm,
        max(s.midline_mm) filter (s.side = 'right' and s.state = 'planned')
            as planned_right_midline_mm,
        max(s.midline_mm) filter (s.side = 'left' and s.state = 'achieved') as left_midline_mm,
        max(s.midline_mm) filter (s.side = 'right' and s.state = 'achieved') as right_midline_mm,
        coalesce(min(s.count_readings) filter (s.state = 'achieved'), 0) as count_readings,
        coalesce(bool_or(s.is_by_rule), false) as is_by_rule,
        bool_or(s.state = 'planned') as has_plan
    from measured.cast_sites as s
    group by s.case_key, s.achieved_source
),

with_pads as (
    select
        s.*,
        pp.spacing_mm as planned_pad_spacing_mm,
        pa.spacing_mm as achieved_pad_spacing_mm
    from sides as s
    left join measured.pad_spacings as pp
        on
            s.case_key = pp.case_key and s.achieved_source = pp.achieved_source
            and pp.state = 'planned'
    left join measured.pad_spacings as pa
        on
            s.case_key = pa.case_key and s.achieved_source = pa.achieved_source
            and pa.state = 'achieved'
),

spaced as (
    select
        w.*,
        w.planned_left_midline_mm + w.planned_right_midline_mm as planned_sum_mm,
        w.left_midline_mm + w.right_midline_mm as achieved_sum_mm
    from with_pads as w
)

select
    s.case_key,
    c.patient_key,
    'cast' as basis,
    s.achieved_source,
    s.count_readings,
    s.planned_left_midline_mm,
    s.planned_right_midline_mm,
    s.left_midline_mm,
    s.right_midline_mm,
    s.left_midline_mm - s.right_midline_mm as midline_asymmetry_mm,
    coalesce(s.planned_sum_mm, s.planned_pad_spacing_mm) as planned_spacing_mm,
    coalesce(s.achieved_sum_mm, s.achieved_pad_spacing_mm) as achieved_spacing_mm,
    case when s.is_by_rule then 'rule' when s.has_plan then 'record' end as planned_basis,
    concat_ws(
        '; ',
        case
            when
                s.planned_sum_mm is null and s.planned_pad_spacing_mm is not null
                or s.achieved_sum_mm is null and s.achieved_pad_spacing_mm is not null
                then
                    'measured on the cast: spacing seen from above, from the distances to both retromolar'
                    || ' pads where the midline was not marked'
            else 'measured on the cast: spacing is the sum of the two distances from the midline'
        end,
        case when s.is_by_rule then 'the plan follows the clinic''s site rule' end
    ) as basis_note
from spaced as s
inner join measured.cases as c on s.case_key = c.case_key

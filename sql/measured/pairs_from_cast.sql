-- Distances from the midline and between the sites, measured on the cast. Grain: case_key, achieved_source.
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
        coalesce(min(s.count_readings) filter (s.state = 'achieved'), 0) as count_readings
    from measured.cast_sites as s
    group by s.case_key, s.achieved_source
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
    s.planned_left_midline_mm + s.planned_right_midline_mm as planned_spacing_mm,
    s.left_midline_mm + s.right_midline_mm as achieved_spacing_mm,
    'measured on the cast: spacing is the sum of the two distances from the midline' as basis_note
from sides as s
inner join measured.cases as c on s.case_key = c.case_key

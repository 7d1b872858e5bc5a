-- The parts of a pair side by side, for measured.pairs. Grain: case_key, basis, achieved_source.
select
    g.case_key,
    g.basis,
    g.achieved_source,
    max(g.guide) filter (g.quantity = 'angle_deg') as lab_angle_deg,
    max(g.lab_part) filter (g.quantity = 'frontal_convergence_deg') as lab_frontal_convergence_deg,
    max(g.clinical_part) filter (g.quantity = 'frontal_convergence_deg')
        as clinical_frontal_convergence_deg,
    max(g.lab_part) filter (g.quantity = 'sagittal_difference_deg') as lab_sagittal_difference_deg,
    max(g.clinical_part) filter (g.quantity = 'sagittal_difference_deg')
        as clinical_sagittal_difference_deg,
    max(g.lab_part) filter (g.quantity = 'spacing_mm') as lab_spacing_mm,
    max(g.clinical_part) filter (g.quantity = 'spacing_mm') as clinical_spacing_mm
from measured.guide_parts as g
where g.side is null
group by g.case_key, g.basis, g.achieved_source

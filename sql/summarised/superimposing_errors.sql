-- What superimposing adds to the figures, over the scans of the cases that count. Grain: achieved_source.
select
    g.achieved_source,
    count(*) as count_scans,
    count(distinct g.case_key) as count_cases,
    count(*) filter (g.is_superimposed) as count_superimposed,
    count(*) filter (g.is_superimposed and g.is_from_file) as count_from_file,
    median(g.landmarks_used) filter (g.is_superimposed) as median_points,
    median(g.fre_mm) as median_fre_mm,
    max(g.fre_mm) as largest_fre_mm,
    max(g.fle_mm) filter (g.is_superimposed) as fle_mm,
    max(g.fle_basis) filter (g.is_superimposed) as fle_basis,
    sqrt(avg(g.tre_entry_mm ^ 2) filter (g.is_superimposed)) as rms_tre_entry_mm,
    max(g.tre_entry_mm) filter (g.is_superimposed) as largest_tre_entry_mm,
    sqrt(avg(g.axis_sd_deg ^ 2) filter (g.is_superimposed)) as rms_axis_sd_deg,
    max(g.axis_sd_deg) filter (g.is_superimposed) as largest_axis_sd_deg
from measured.registrations as g
inner join summarised.cases_used as c on g.case_key = c.case_key
group by g.achieved_source

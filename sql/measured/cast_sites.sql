-- Sites measured on a cast, readings averaged. Grain: case_key, side, tool, state.
select
    r.case_key,
    r.side,
    coalesce('cast_' || r.tool, 'unknown') as achieved_source,
    r.state,
    avg(r.midline_mm) as midline_mm,
    avg(r.crest_offset_mm) as crest_offset_mm,
    max(r.midline_how) as midline_how,
    count(r.midline_mm) as count_readings,
    coalesce(max(r.resolution_mm), max(try_cast(t.resolution_mm as double)))
    / sqrt(12 * count(*)) as reading_sd_mm
from checked.usable_cast_readings as r
left join reference.tools as t on r.tool = t.tool
where r.side is not null and r.state is not null and r.case_key is not null
group by r.case_key, r.side, coalesce('cast_' || r.tool, 'unknown'), r.state

-- What the sheet says about each implant besides its coordinates.
-- Grain: case_key, implant_key, achieved_source.
select
    s.case_key,
    s.implant_key,
    coalesce(s.achieved_source, 'unknown') as achieved_source,
    coalesce(max(s.part), 'pair') as part,
    coalesce(max(s.outcome), 'placed') as outcome,
    max(s.guide_used) as guide_used,
    bool_or(s.deliberate_change is not null) as is_deliberate_change,
    max(s.planned_reference) as planned_reference,
    max(s.achieved_reference) as achieved_reference,
    avg(s.reference_offset_mm) as reference_offset_mm,
    max(s.planned_length_mm) as recorded_planned_length_mm,
    max(s.placed_length_mm) as recorded_placed_length_mm,
    max(s.diameter_mm) as diameter_mm
from checked.usable_implants as s
where s.implant_key is not null
group by s.case_key, s.implant_key, coalesce(s.achieved_source, 'unknown')

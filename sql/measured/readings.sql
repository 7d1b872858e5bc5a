-- Coordinate readings that are not set aside, each with its axes. Grain: row_id.
select
    p.case_key,
    c.patient_key,
    p.implant_key,
    p.side,
    s.tooth,
    'coordinates' as basis,
    coalesce(s.achieved_source, 'unknown') as achieved_source,
    p.row_id,
    s.examiner_code,
    coalesce(s.reading, 1) as reading,
    coalesce(s.scan, '1') as scan,
    coalesce(s.achieved_frame, 'plan') as achieved_frame,
    p.planned_entry_x_mm,
    p.planned_entry_y_mm,
    p.planned_entry_z_mm,
    p.planned_length_mm,
    p.planned_axis_x,
    p.planned_axis_y,
    p.planned_axis_z,
    p.achieved_entry_x_mm,
    p.achieved_entry_y_mm,
    p.achieved_entry_z_mm,
    p.achieved_length_mm,
    p.achieved_axis_x,
    p.achieved_axis_y,
    p.achieved_axis_z
from checked.poses as p
inner join checked.usable_implants as s on p.row_id = s.row_id
inner join measured.cases as c on p.case_key = c.case_key
where p.side is not null and p.implant_key is not null

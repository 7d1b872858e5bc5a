-- Coordinate readings that are not set aside, each with its axes. Where the scan is superimposed the result
-- stands in the plan's coordinates. Grain: row_id.
with superimposed as (
    select g.*
    from measured.registrations as g
    where g.is_superimposed
)

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
    case
        when coalesce(s.achieved_frame, 'plan') = 'plan' or g.case_key is not null then 'plan'
        else 'scan'
    end as achieved_frame,
    g.case_key is not null as is_superimposed,
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
    p.achieved_axis_z,
    case when g.case_key is not null then e.tre_entry_mm end as tre_entry_mm,
    case when g.case_key is not null then e.tre_apex_mm end as tre_apex_mm,
    case when g.case_key is not null then e.axis_sd_deg end as axis_sd_deg
from checked.poses as p
inner join checked.usable_implants as s on p.row_id = s.row_id
inner join measured.cases as c on p.case_key = c.case_key
left join superimposed as g
    on p.case_key = g.case_key and s.achieved_frame = 'scan' and coalesce(s.scan, '1') = g.scan
left join checked.superimposed_rows as e on p.row_id = e.row_id
where p.side is not null and p.implant_key is not null

-- Points that stand in the plan and in a scan under one label. A mean of several readings is known better
-- than one reading, so points are weighted by the reciprocal of their variance: 1 for one reading in each
-- frame, 2 for two in each. Points on mucosa near a site move with healing and are left out.
-- Grain: case_key, scan, label.
select
    s.case_key,
    s.scan,
    s.label,
    s.is_near_site or p.is_near_site as is_left_out,
    p.x_mm as plan_x_mm,
    p.y_mm as plan_y_mm,
    p.z_mm as plan_z_mm,
    s.x_mm as scan_x_mm,
    s.y_mm as scan_y_mm,
    s.z_mm as scan_z_mm,
    2 / (1 / p.count_readings + 1 / s.count_readings) as weight,
    list_concat(p.row_ids, s.row_ids) as row_ids
from checked.landmark_means as s
inner join checked.landmark_means as p
    on s.case_key = p.case_key and s.label = p.label and p.frame = 'plan'
where s.frame = 'scan'

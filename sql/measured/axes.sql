-- One planned and one achieved axis per implant and source: readings are averaged as coordinates and
-- unit axes, before anything is measured. Superimposed scans share the plan's coordinates, so all their
-- readings count; of scans in coordinates of their own only the first is used, because two do not share
-- theirs. The error of superimposing is common to the readings of a scan, so it is not made smaller by
-- their number. Grain: case_key, implant_key, achieved_source.
with framed as (
    select
        r.*,
        bool_and(r.achieved_frame = 'plan') over (partition by r.case_key, r.achieved_source)
            as is_all_in_plan,
        bool_or(r.is_superimposed) over (partition by r.case_key, r.achieved_source)
            as has_superimposed,
        min(case when r.achieved_frame = 'scan' then r.scan end)
            over (partition by r.case_key, r.achieved_source) as first_scan
    from measured.readings as r
),

in_one_frame as (
    select f.*
    from framed as f
    where
        f.is_all_in_plan
        or case
            when f.has_superimposed then f.achieved_frame = 'plan'
            else f.achieved_frame = 'scan' and f.scan = f.first_scan
        end
),

averaged as (
    select
        r.case_key,
        r.implant_key,
        r.achieved_source,
        any_value(r.patient_key) as patient_key,
        any_value(r.side) as side,
        min(r.tooth) as tooth,
        min(r.achieved_frame) as achieved_frame,
        min(r.scan) as scan,
        sqrt(avg(r.tre_entry_mm ^ 2)) as tre_entry_mm,
        sqrt(avg(r.tre_apex_mm ^ 2)) as tre_apex_mm,
        sqrt(avg(r.axis_sd_deg ^ 2)) as axis_sd_deg,
        count(r.achieved_axis_x) as count_readings,
        avg(r.planned_entry_x_mm) as planned_entry_x_mm,
        avg(r.planned_entry_y_mm) as planned_entry_y_mm,
        avg(r.planned_entry_z_mm) as planned_entry_z_mm,
        avg(r.planned_length_mm) as planned_length_mm,
        avg(r.planned_axis_x) as px,
        avg(r.planned_axis_y) as py,
        avg(r.planned_axis_z) as pz,
        avg(r.achieved_entry_x_mm) as achieved_entry_x_mm,
        avg(r.achieved_entry_y_mm) as achieved_entry_y_mm,
        avg(r.achieved_entry_z_mm) as achieved_entry_z_mm,
        avg(r.achieved_length_mm) as achieved_length_mm,
        avg(r.achieved_axis_x) as ax,
        avg(r.achieved_axis_y) as ay,
        avg(r.achieved_axis_z) as az
    from in_one_frame as r
    group by r.case_key, r.implant_key, r.achieved_source
),

with_lengths as (
    select
        a.*,
        nullif(sqrt(a.px ^ 2 + a.py ^ 2 + a.pz ^ 2), 0) as planned_norm,
        nullif(sqrt(a.ax ^ 2 + a.ay ^ 2 + a.az ^ 2), 0) as achieved_norm
    from averaged as a
)

select
    w.case_key,
    w.patient_key,
    w.implant_key,
    w.side,
    w.tooth,
    w.achieved_source,
    w.achieved_frame,
    w.scan,
    w.count_readings,
    w.planned_entry_x_mm,
    w.planned_entry_y_mm,
    w.planned_entry_z_mm,
    w.planned_length_mm,
    w.px / w.planned_norm as planned_axis_x,
    w.py / w.planned_norm as planned_axis_y,
    w.pz / w.planned_norm as planned_axis_z,
    w.achieved_entry_x_mm,
    w.achieved_entry_y_mm,
    w.achieved_entry_z_mm,
    w.achieved_length_mm,
    w.ax / w.achieved_norm as achieved_axis_x,
    w.ay / w.achieved_norm as achieved_axis_y,
    w.az / w.achieved_norm as achieved_axis_z,
    w.tre_entry_mm,
    w.tre_apex_mm,
    w.axis_sd_deg
from with_lengths as w

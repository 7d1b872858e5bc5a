-- Planned against achieved, one value per implant and source. Columns: reference/columns.csv.
-- Grain: case_key, implant_key, basis, achieved_source.
with all_bases as (
    select * from measured.from_coordinates
    union all by name
    select * from measured.from_ready_figures
    union all by name
    select * from measured.from_cast
),

with_errors as (
    select
        b.*,
        coalesce(o.place_in_order::integer, 99) as place_in_order,
        b.angle_deg is not null or b.entry_3d_mm is not null or b.entry_lateral_mm is not null
            as has_main_figure,
        try_cast(e.entry_sd_mm as double) as published_entry_sd_mm,
        try_cast(e.apex_sd_mm as double) as published_apex_sd_mm,
        try_cast(e.angle_sd_deg as double) as published_angle_sd_deg
    from all_bases as b
    left join reference.source_order as o
        on b.basis = o.basis and b.achieved_source = o.achieved_source
    left join reference.source_errors as e on b.achieved_source = e.achieved_source
)

select
    w.case_key,
    w.patient_key,
    w.implant_key,
    w.side,
    w.tooth,
    w.basis,
    w.achieved_source,
    w.part,
    row_number() over (
        partition by w.case_key, w.implant_key
        order by w.has_main_figure desc, w.place_in_order asc, w.basis asc, w.achieved_source asc
    ) = 1 as is_preferred,
    w.count_readings,
    w.entry_3d_mm,
    w.entry_lateral_mm,
    w.depth_mm,
    w.depth_size_mm,
    w.apex_3d_mm,
    w.apex_lateral_mm,
    w.apex_depth_mm,
    w.angle_deg,
    w.mesial_mm,
    w.facial_mm,
    w.up_mm,
    w.planned_frontal_tilt_deg,
    w.achieved_frontal_tilt_deg,
    w.frontal_tilt_change_deg,
    w.planned_sagittal_tilt_deg,
    w.achieved_sagittal_tilt_deg,
    w.sagittal_tilt_change_deg,
    coalesce(w.entry_sd_mm, w.published_entry_sd_mm) as entry_sd_mm,
    w.published_apex_sd_mm as apex_sd_mm,
    w.published_angle_sd_deg as angle_sd_deg,
    coalesce(w.sd_basis, case when w.published_entry_sd_mm is not null then 'published' end)
        as sd_basis,
    w.is_length_substituted,
    w.is_deliberate_change,
    w.guide_used,
    w.jaw_frame_basis,
    w.basis_note
from with_errors as w

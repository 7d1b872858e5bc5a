-- Planned against achieved, one value per implant and source. Columns: reference/columns.csv.
-- Grain: case_key, implant_key, basis, achieved_source.
with all_bases as (
    select * from measured.from_coordinates
    union all by name
    select * from measured.from_ready_figures
    union all by name
    select * from measured.from_cast
    union all by name
    select * from measured.from_films
),

with_errors as (
    select
        b.*,
        coalesce(o.place_in_order::integer, 99) as place_in_order,
        -- films are for screening: preferred only where there is nothing else
        coalesce(o.grade <> 'screening', true) as is_measured,
        b.angle_deg is not null or b.entry_3d_mm is not null or b.entry_lateral_mm is not null
            as has_main_figure,
        e.entry_sd_mm / case when e.is_from_repeats then sqrt(greatest(b.count_readings, 1)) else 1 end
            as source_entry_sd_mm,
        e.apex_sd_mm / case when e.is_from_repeats then sqrt(greatest(b.count_readings, 1)) else 1 end
            as source_apex_sd_mm,
        e.angle_sd_deg / case when e.is_from_repeats then sqrt(greatest(b.count_readings, 1)) else 1 end
            as source_angle_sd_deg,
        case when e.is_from_repeats then 'repeats' else 'published' end as source_sd_basis
    from all_bases as b
    left join reference.source_order as o
        on b.basis = o.basis and b.achieved_source = o.achieved_source
    left join measured.reading_errors as e
        on b.basis = e.basis and b.achieved_source = e.achieved_source
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
        order by
            w.is_measured desc, w.has_main_figure desc, w.place_in_order asc, w.basis asc,
            w.achieved_source asc
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
    w.tre_entry_mm,
    w.tre_apex_mm,
    w.axis_sd_deg,
    root_sum_squares(w.tre_entry_mm, coalesce(w.entry_sd_mm, w.source_entry_sd_mm)) as entry_sd_mm,
    root_sum_squares(w.tre_apex_mm, w.source_apex_sd_mm) as apex_sd_mm,
    root_sum_squares(w.axis_sd_deg, coalesce(w.angle_sd_deg, w.source_angle_sd_deg)) as angle_sd_deg,
    nullif(
        concat_ws(
            ' and ',
            case when w.tre_entry_mm is not null then 'superimposing' end,
            coalesce(w.sd_basis, case when w.source_entry_sd_mm is not null then w.source_sd_basis end)
        ),
        ''
    ) as sd_basis,
    w.is_length_substituted,
    w.is_deliberate_change,
    w.guide_used,
    w.jaw_frame_basis,
    coalesce(w.planned_basis, case when w.basis in ('coordinates', 'ready') then 'record' end)
        as planned_basis,
    w.lab_angle_deg,
    -m.lab_part as lab_mesial_mm,
    -m.clinical_part as clinical_mesial_mm,
    f.lab_part as lab_facial_mm,
    f.clinical_part as clinical_facial_mm,
    w.basis_note
from with_errors as w
left join measured.guide_parts as m
    on
        w.basis = m.basis and w.case_key = m.case_key and w.side = m.side
        and w.achieved_source = m.achieved_source and m.quantity = 'midline_mm'
left join measured.guide_parts as f
    on
        w.basis = f.basis and w.case_key = f.case_key and w.side = f.side
        and w.achieved_source = f.achieved_source and f.quantity = 'crest_offset_mm'

-- What was measured more than once, one reading a row, before it is averaged: coordinates and leans of the
-- result, distances on casts, readings of the pair, leans on films. Never distances between plan and result:
-- a size of an error has no normal spread. Leans are those of the occlusal end, to the left and backward.
-- Grain: basis, achieved_source, subject, quantity, row_id.
with repeated_axes as (
    select
        a.case_key,
        a.implant_key,
        a.achieved_source
    from measured.axes as a
    where a.count_readings > 1
),

coordinate_readings as (
    select
        r.*,
        concat_ws('|', r.case_key, r.implant_key, r.achieved_frame, r.scan) as subject,
        case when c.jaw = 'upper' then -1 else 1 end as occlusal
    from measured.readings as r
    semi join repeated_axes as a
        on
            r.case_key = a.case_key
            and r.implant_key = a.implant_key
            and r.achieved_source = a.achieved_source
    inner join measured.cases as c on r.case_key = c.case_key
    where r.achieved_axis_x is not null
),

coordinates as (
    select
        'coordinates' as basis,
        r.achieved_source,
        r.subject,
        r.examiner_code,
        r.reading,
        r.row_id,
        unnest(
            [
                'entry_x_mm', 'entry_y_mm', 'entry_z_mm', 'apex_x_mm', 'apex_y_mm', 'apex_z_mm',
                'lean_left_deg', 'lean_back_deg'
            ]
        ) as quantity,
        unnest(
            [
                r.achieved_entry_x_mm,
                r.achieved_entry_y_mm,
                r.achieved_entry_z_mm,
                r.achieved_entry_x_mm + r.achieved_length_mm * r.achieved_axis_x,
                r.achieved_entry_y_mm + r.achieved_length_mm * r.achieved_axis_y,
                r.achieved_entry_z_mm + r.achieved_length_mm * r.achieved_axis_z,
                lean_deg(-r.achieved_axis_x, -r.achieved_axis_z * r.occlusal),
                lean_deg(-r.achieved_axis_y, -r.achieved_axis_z * r.occlusal)
            ]
        ) as value
    from coordinate_readings as r
),

casts as (
    select
        'cast' as basis,
        coalesce('cast_' || r.tool, 'unknown') as achieved_source,
        concat_ws('|', r.case_key, r.side, r.state) as subject,
        r.examiner_code,
        coalesce(r.reading, 1) as reading,
        r.row_id,
        unnest(
            ['midline_mm', 'crest_offset_mm', 'left_pad_mm', 'right_pad_mm', 'between_pads_mm']
        ) as quantity,
        unnest(
            [r.midline_mm, r.crest_offset_mm, r.left_pad_mm, r.right_pad_mm, r.between_pads_mm]
        ) as value
    from checked.usable_cast_readings as r
    where r.case_key is not null and r.side is not null and r.state is not null
),

pairs as (
    select
        'pair' as basis,
        r.reading_source as achieved_source,
        concat_ws('|', r.case_key, r.state) as subject,
        r.examiner_code,
        coalesce(r.reading, 1) as reading,
        r.row_id,
        r.quantity || case when r.quantity like '%_spacing' then '_mm' else '_deg' end as quantity,
        pair_value(r.quantity, r.value, r.converging) as value
    from checked.usable_pair_readings as r
    where r.case_key is not null and r.state is not null and r.reading_source is not null
),

films as (
    select
        'films' as basis,
        coalesce(f.film_kind, 'unknown') as achieved_source,
        concat_ws('|', f.case_key, f.implant_key, f.state, f.view, f.film_date) as subject,
        f.examiner_code,
        coalesce(f.reading, 1) as reading,
        f.row_id,
        f.view || '_tilt_deg' as quantity,
        f.tilt_deg as value
    from checked.usable_films as f
    where f.case_key is not null and f.implant_key is not null and f.state is not null and f.view is not null
),

every_reading as (
    select * from coordinates
    union all by name
    select * from casts
    union all by name
    select * from pairs
    union all by name
    select * from films
)

select
    e.basis,
    e.achieved_source,
    e.subject,
    e.quantity,
    e.examiner_code,
    e.reading,
    e.row_id,
    e.value
from every_reading as e
where e.value is not null and e.quantity is not null
qualify count(*) over (partition by e.basis, e.achieved_source, e.subject, e.quantity) > 1

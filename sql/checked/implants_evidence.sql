-- What is judged about each row of the implants sheet. Grain: row_id; null = not applicable.
-- Plan and result are only set against each other where both are in the plan's coordinates.
-- The label gives the length from platform to tip, so it is compared where the entry point is the
-- platform or is not said to be anything else. A case on the cases sheet is lower unless it says
-- otherwise; without that sheet an upper tooth number makes it upper. Copies are looked for among
-- results of one file, and where they have so many digits that chance makes less than one row in 1,000 one.
with
cases_known as (
    select
        case_key,
        coalesce(min(jaw), 'lower') as jaw,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
),

keyed as (
    select
        row_id,
        plain_key(row_key) as row_key,
        hash(
            case_key, implant_key, coalesce(part, 'pair'), coalesce(scan, '1'),
            coalesce(achieved_source, ''), coalesce(examiner_code, ''), coalesce(reading, 1)
        ) as key_hash
    from staged.implants
    where case_key is not null and implant_key is not null
),

shared_keys as (
    select
        key_hash,
        count(*) as count_rows
    from keyed
    group by key_hash
    having min(row_key) <> max(row_key)
),

shared_rows as (
    select
        keyed.row_id,
        shared_keys.count_rows
    from keyed
    inner join shared_keys on keyed.key_hash = shared_keys.key_hash
),

results as (
    select
        row_id,
        hash(
            source, achieved_entry_x_mm, achieved_entry_y_mm, achieved_entry_z_mm,
            achieved_apex_x_mm, achieved_apex_y_mm, achieved_apex_z_mm
        ) as vector_hash
    from staged.implants
    where achieved_entry_x_mm + achieved_apex_x_mm is not null
),

shared_results as (
    select vector_hash
    from results
    group by vector_hash
    having count(*) > 1
),

vectors as (
    select
        implants.row_id,
        implants.source,
        plain_key(implants.row_key) as row_key,
        hash(implants.case_key, implants.implant_key) as implant_hash,
        results.vector_hash
    from results
    inner join shared_results on results.vector_hash = shared_results.vector_hash
    inner join staged.implants as implants on results.row_id = implants.row_id
    where implants.case_key is not null and implants.implant_key is not null
),

of_implants as (
    select
        vector_hash,
        implant_hash,
        min(row_id) as first_row_id,
        min(row_key) <> max(row_key) as is_read_again
    from vectors
    group by vector_hash, implant_hash
),

copied_vectors as (
    select
        vector_hash,
        count(*) as count_implants
    from of_implants
    group by vector_hash
    having count(*) > 1
),

files as (
    select
        source,
        count(*) as count_rows
    from staged.implants
    group by source
),

copies as (
    select
        implants.row_id,
        copied_vectors.count_implants
    from staged.implants as implants
    inner join vectors on implants.row_id = vectors.row_id
    inner join copied_vectors on vectors.vector_hash = copied_vectors.vector_hash
    inner join files on vectors.source = files.source
    where
        digits_told(implants.achieved_entry_x_mm, 0.2) + digits_told(implants.achieved_entry_y_mm, 0.2)
        + digits_told(implants.achieved_entry_z_mm, 0.2) + digits_told(implants.achieved_apex_x_mm, 0.2)
        + digits_told(implants.achieved_apex_y_mm, 0.2)
        >= 3 + log10(files.count_rows)
),

repeats as (
    select vectors.row_id
    from vectors
    inner join of_implants
        on
            vectors.vector_hash = of_implants.vector_hash
            and vectors.implant_hash = of_implants.implant_hash
    inner join staged.implants as implants on vectors.row_id = implants.row_id
    where
        of_implants.is_read_again
        and vectors.row_id > of_implants.first_row_id
        and decimals_of(implants.achieved_entry_x_mm) + decimals_of(implants.achieved_entry_y_mm)
        + decimals_of(implants.achieved_entry_z_mm) + decimals_of(implants.achieved_apex_x_mm)
        + decimals_of(implants.achieved_apex_y_mm) + decimals_of(implants.achieved_apex_z_mm)
        >= 10
),

seen as (
    select
        implants.*,
        poses.planned_length_mm as planned_axis_mm,
        poses.achieved_length_mm as achieved_axis_mm,
        cases_known.surgery_date,
        cases_known.jaw,
        if(
            coalesce(cases_known.jaw, if(implants.tooth similar to '[12][1-8]', 'upper', 'lower')) = 'upper',
            -1, 1
        ) as upward,
        coalesce(implants.planned_reference, 'platform') = 'platform' as is_planned_platform,
        coalesce(implants.achieved_reference, 'platform') = 'platform' as is_achieved_platform,
        coalesce(implants.placed_length_mm, implants.planned_length_mm) as label_length_mm,
        coalesce(implants.achieved_frame, 'plan') = 'plan' as is_one_frame,
        angle_between_deg(
            poses.planned_axis_x, poses.planned_axis_y, poses.planned_axis_z,
            poses.achieved_axis_x, poses.achieved_axis_y, poses.achieved_axis_z
        ) as between_axes_deg
    from staged.implants as implants
    left join checked.poses as poses on implants.row_id = poses.row_id
    left join cases_known on implants.case_key = cases_known.case_key
)

select
    seen.row_id,
    cast(seen.side is not null or seen.site is not null as double) as is_site_given,
    cast(side_of(seen.tooth) = seen.side as double) as is_tooth_on_side,
    cast(
        case
            when seen.jaw is null then null
            when regexp_full_match(seen.tooth, '[1-4][1-8]')
                then (left(seen.tooth, 1) in ('1', '2')) = (seen.jaw = 'upper')
        end as double
    ) as is_tooth_in_jaw,
    cast(
        if(seen.implant_key is null, null, coalesce(shared_rows.count_rows, 1)) as double
    ) as count_rows_at_key,
    case
        when seen.is_planned_platform and seen.planned_axis_mm > 0
            then round(seen.planned_axis_mm - seen.planned_length_mm, 6)
    end as planned_length_off_mm,
    case
        when seen.is_achieved_platform and seen.achieved_axis_mm > 0
            then round(seen.achieved_axis_mm - seen.label_length_mm, 6)
    end as achieved_length_off_mm,
    seen.planned_axis_mm,
    seen.achieved_axis_mm,
    case
        when
            seen.planned_axis_mm > 0
            and (not seen.is_planned_platform or seen.planned_length_mm is null)
            then seen.planned_axis_mm
    end as planned_axis_unlabelled_mm,
    case
        when
            seen.achieved_axis_mm > 0
            and (not seen.is_achieved_platform or seen.label_length_mm is null)
            then seen.achieved_axis_mm
    end as achieved_axis_unlabelled_mm,
    seen.upward
    * (seen.planned_entry_z_mm - seen.planned_apex_z_mm) as planned_apex_beyond_entry_mm,
    case
        when seen.is_one_frame
            then seen.upward * (seen.achieved_entry_z_mm - seen.achieved_apex_z_mm)
    end as achieved_apex_beyond_entry_mm,
    if(seen.is_one_frame, seen.between_axes_deg, null) as axis_turn_deg,
    if(seen.is_one_frame and seen.between_axes_deg <= 90, seen.between_axes_deg, null) as angle_deg,
    case
        when seen.is_one_frame
            then
                distance_mm(
                    seen.planned_entry_x_mm, seen.planned_entry_y_mm, seen.planned_entry_z_mm,
                    seen.achieved_entry_x_mm, seen.achieved_entry_y_mm, seen.achieved_entry_z_mm
                )
    end as entry_3d_mm,
    cast(
        cast(seen.achieved_entry_x_mm = seen.planned_entry_x_mm as integer)
        + cast(seen.achieved_entry_y_mm = seen.planned_entry_y_mm as integer)
        + cast(seen.achieved_entry_z_mm = seen.planned_entry_z_mm as integer)
        + cast(seen.achieved_apex_x_mm = seen.planned_apex_x_mm as integer)
        + cast(seen.achieved_apex_y_mm = seen.planned_apex_y_mm as integer)
        + cast(seen.achieved_apex_z_mm = seen.planned_apex_z_mm as integer) as double
    ) as count_equal_coordinates,
    greatest(
        abs(seen.planned_entry_x_mm), abs(seen.planned_entry_y_mm), abs(seen.planned_entry_z_mm),
        abs(seen.planned_apex_x_mm), abs(seen.planned_apex_y_mm), abs(seen.planned_apex_z_mm),
        abs(seen.achieved_entry_x_mm), abs(seen.achieved_entry_y_mm), abs(seen.achieved_entry_z_mm),
        abs(seen.achieved_apex_x_mm), abs(seen.achieved_apex_y_mm), abs(seen.achieved_apex_z_mm)
    ) as largest_coordinate_mm,
    cast(
        if(
            seen.achieved_entry_x_mm is null or seen.implant_key is null, null,
            coalesce(copies.count_implants, 1)
        ) as double
    ) as count_implants_alike,
    cast(
        if(seen.achieved_entry_x_mm is null, null, repeats.row_id is not null) as double
    ) as is_repeated_reading,
    round(seen.placed_length_mm - seen.planned_length_mm, 6) as length_change_mm,
    seen.planned_length_mm,
    seen.placed_length_mm,
    seen.diameter_mm,
    seen.reference_offset_mm,
    cast(epoch(seen.measured_date) / 86400 as double) as measured_day,
    cast(seen.measured_date - seen.surgery_date as double) as surgery_to_measured_days,
    cast(seen.reading as double) as reading
from seen
left join shared_rows on seen.row_id = shared_rows.row_id
left join copies on seen.row_id = copies.row_id
left join repeats on seen.row_id = repeats.row_id

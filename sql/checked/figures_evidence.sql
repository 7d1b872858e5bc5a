-- What is judged about ready-made figures: against each other, against the points of the same implant,
-- and against the other rows of their file. Grain: row_id of deviations; null = not applicable.
-- What rounding alone can explain is taken off first: two steps of a length, half a step of an angle at
-- the length of the implant. A step is that of the file, because 4.0 is written 4. Copies and series are
-- looked for among measured figures only, and copies only where the figures have so many digits that
-- chance makes less than one row in 1,000 a copy: each of n rows has n others to agree with.
with
lengths_known as (
    select
        case_key,
        implant_key,
        max(abs(placed_length_mm - planned_length_mm)) as length_change_mm
    from staged.implants
    group by case_key, implant_key
),

file_steps as (
    select
        source,
        min(
            least(
                step_written(entry_3d_mm), step_written(entry_lateral_mm), step_written(depth_mm),
                step_written(apex_3d_mm), step_written(apex_lateral_mm), step_written(mesial_mm),
                step_written(facial_mm)
            )
        ) as step_mm,
        min(
            least(
                step_written(angle_deg), step_written(frontal_tilt_change_deg),
                step_written(sagittal_tilt_change_deg)
            )
        ) as step_deg
    from staged.deviations
    group by source
),

seen as (
    select
        deviations.*,
        coalesce(lengths_known.length_change_mm, 0) as length_change_mm,
        file_steps.step_mm,
        file_steps.step_deg,
        sqrt(
            deviations.frontal_tilt_change_deg ^ 2 + deviations.sagittal_tilt_change_deg ^ 2
        ) as both_tilts_deg
    from staged.deviations as deviations
    inner join file_steps on deviations.source = file_steps.source
    left join lengths_known
        on
            deviations.case_key = lengths_known.case_key
            and deviations.implant_key = lengths_known.implant_key
),

points as (
    select
        implants.case_key,
        implants.implant_key,
        implants.achieved_source,
        angle_between_deg(
            poses.planned_axis_x, poses.planned_axis_y, poses.planned_axis_z,
            poses.achieved_axis_x, poses.achieved_axis_y, poses.achieved_axis_z
        ) as angle_deg,
        case
            when coalesce(implants.planned_reference, '') = coalesce(implants.achieved_reference, '')
                then
                    distance_mm(
                        poses.planned_entry_x_mm, poses.planned_entry_y_mm, poses.planned_entry_z_mm,
                        poses.achieved_entry_x_mm, poses.achieved_entry_y_mm, poses.achieved_entry_z_mm
                    )
        end as entry_3d_mm,
        case
            when coalesce(implants.planned_reference, '') = coalesce(implants.achieved_reference, '')
                then
                    along(
                        poses.planned_axis_x, poses.planned_axis_y, poses.planned_axis_z,
                        poses.achieved_entry_x_mm - poses.planned_entry_x_mm,
                        poses.achieved_entry_y_mm - poses.planned_entry_y_mm,
                        poses.achieved_entry_z_mm - poses.planned_entry_z_mm
                    )
        end as depth_mm
    from staged.implants as implants
    inner join checked.poses as poses on implants.row_id = poses.row_id
    where
        (coalesce(implants.achieved_frame, 'plan') = 'plan' or poses.is_superimposed)
        and implants.case_key in (select d.case_key from staged.deviations as d)
),

against_points as (
    select
        seen.row_id,
        min(abs(seen.angle_deg - points.angle_deg)) as angle_off_points_deg,
        min(abs(seen.entry_3d_mm - points.entry_3d_mm)) as entry_off_points_mm,
        min(if(coalesce(seen.is_signed, true), abs(seen.depth_mm - points.depth_mm), null))
            as depth_off_points_mm
    from seen
    inner join points
        on
            seen.case_key = points.case_key
            and seen.implant_key = points.implant_key
            and coalesce(seen.achieved_source = points.achieved_source, true)
    group by seen.row_id
),

steps as (
    select
        row_id,
        source,
        row_number,
        round(angle_deg - lag(angle_deg) over in_file, 6) as angle_step,
        round(entry_3d_mm - lag(entry_3d_mm) over in_file, 6) as entry_step
    from staged.deviations
    window in_file as (partition by source order by row_number)
),

ends as (
    select
        row_id,
        source,
        row_number,
        count(angle_step) over last_five = 5
        and min(angle_step) over last_five = max(angle_step) over last_five as is_angle_end,
        count(entry_step) over last_five = 5
        and min(entry_step) over last_five = max(entry_step) over last_five as is_entry_end
    from steps
    window last_five as (
        partition by source order by row_number rows between 4 preceding and current row
    )
),

series as (
    select
        row_id,
        bool_or(is_angle_end) over next_five as is_angle_in_series,
        bool_or(is_entry_end) over next_five as is_entry_in_series
    from ends
    window next_five as (
        partition by source order by row_number rows between current row and 5 following
    )
),

files as (
    select
        source,
        count(*) as count_rows,
        sum(entry_3d_mm) as entry_sum,
        sum(apex_3d_mm) as apex_sum,
        sum(angle_deg) as angle_sum,
        count(entry_3d_mm) as count_entries,
        count(apex_3d_mm) as count_apices,
        count(angle_deg) as count_angles
    from staged.deviations
    group by source
),

totals as (
    select
        seen.row_id,
        is_summary_of(seen.entry_3d_mm, files.entry_sum, files.count_entries) as is_entry_total,
        is_summary_of(seen.apex_3d_mm, files.apex_sum, files.count_apices) as is_apex_total,
        is_summary_of(seen.angle_deg, files.angle_sum, files.count_angles) as is_angle_total,
        files.count_rows,
        cast(seen.entry_3d_mm is not null as integer)
        + cast(seen.apex_3d_mm is not null as integer)
        + cast(seen.angle_deg is not null as integer) as count_figures
    from seen
    inner join files on seen.source = files.source
),

vectors as (
    select
        deviations.row_id,
        hash(deviations.case_key, deviations.implant_key) as implant_hash,
        hash(
            deviations.source, coalesce(deviations.entry_3d_mm, -1),
            coalesce(deviations.entry_lateral_mm, -1), coalesce(deviations.depth_mm, -1),
            coalesce(deviations.apex_3d_mm, -1), coalesce(deviations.apex_lateral_mm, -1),
            coalesce(deviations.angle_deg, -1), coalesce(deviations.mesial_mm, -1),
            coalesce(deviations.facial_mm, -1)
        ) as vector_hash
    from staged.deviations as deviations
    inner join files on deviations.source = files.source
    where
        digits_told(deviations.entry_3d_mm, 0.2) + digits_told(deviations.depth_mm, 0.2)
        + digits_told(deviations.apex_3d_mm, 0.2) + digits_told(deviations.mesial_mm, 0.2)
        + digits_told(deviations.facial_mm, 0.2) + digits_told(deviations.angle_deg, 0.9)
        >= 3 + log10(files.count_rows)
        and deviations.case_key is not null and deviations.implant_key is not null
),

copied_vectors as (
    select
        vector_hash,
        count(distinct implant_hash) as count_implants
    from vectors
    group by vector_hash
    having min(implant_hash) <> max(implant_hash)
),

copies as (
    select
        vectors.row_id,
        coalesce(copied_vectors.count_implants, 1) as count_implants
    from vectors
    left join copied_vectors on vectors.vector_hash = copied_vectors.vector_hash
)

select
    seen.row_id,
    case
        when seen.entry_3d_mm >= 0 and seen.apex_3d_mm >= 0 and seen.angle_deg between 0 and 180
            then
                beyond(
                    triple_off_mm(
                        seen.entry_3d_mm, seen.apex_3d_mm, seen.angle_deg, seen.planned_length_mm
                    ),
                    2 * seen.step_mm + seen.length_change_mm
                    + seen.planned_length_mm * radians(seen.step_deg) / 2
                )
    end as triple_off_mm,
    beyond(
        greatest(
            seen.entry_lateral_mm - seen.entry_3d_mm,
            abs(seen.depth_mm) - seen.entry_3d_mm,
            abs(seen.mesial_mm) - seen.entry_3d_mm,
            abs(seen.facial_mm) - seen.entry_3d_mm,
            seen.apex_lateral_mm - seen.apex_3d_mm
        ), seen.step_mm
    ) as part_beyond_whole_mm,
    beyond(
        abs(seen.both_tilts_deg - seen.angle_deg), seen.step_deg + 0.1 * abs(seen.angle_deg)
    ) as tilts_off_angle_deg,
    beyond(against_points.angle_off_points_deg, seen.step_deg / 2) as angle_off_points_deg,
    beyond(against_points.entry_off_points_mm, seen.step_mm / 2) as entry_off_points_mm,
    beyond(against_points.depth_off_points_mm, seen.step_mm / 2) as depth_off_points_mm,
    cast(
        if(seen.angle_deg is null, null, coalesce(series.is_angle_in_series, false)) as double
    ) as is_angle_in_series,
    cast(
        if(seen.entry_3d_mm is null, null, coalesce(series.is_entry_in_series, false)) as double
    ) as is_entry_in_series,
    cast(
        case
            when totals.count_rows >= 4 and totals.count_figures >= 2
                then
                    coalesce(totals.is_entry_total, true)
                    and coalesce(totals.is_apex_total, true)
                    and coalesce(totals.is_angle_total, true)
        end as double
    ) as is_summary_row,
    cast(copies.count_implants as double) as count_implants_alike
from seen
inner join totals on seen.row_id = totals.row_id
left join against_points on seen.row_id = against_points.row_id
left join series on seen.row_id = series.row_id
left join copies on seen.row_id = copies.row_id

-- What is judged about the figures of one file together. Grain: sheet, source. Null where there are
-- too few values to say. Rounding, zeros and constant offsets are looked for among results only: a plan
-- is round, upright and the same in every case.
with
depths as (
    select
        implants.source,
        along(
            poses.planned_axis_x, poses.planned_axis_y, poses.planned_axis_z,
            poses.achieved_entry_x_mm - poses.planned_entry_x_mm,
            poses.achieved_entry_y_mm - poses.planned_entry_y_mm,
            poses.achieved_entry_z_mm - poses.planned_entry_z_mm
        ) as depth_mm
    from staged.implants as implants
    inner join checked.poses as poses on implants.row_id = poses.row_id
    where
        (coalesce(implants.achieved_frame, 'plan') = 'plan' or poses.is_superimposed)
        and coalesce(implants.planned_reference, '') = coalesce(implants.achieved_reference, '')
),

implant_depths as (
    select
        source,
        count(depth_mm) as count_depths,
        constant_offset(depth_mm) as constant_depth_mm
    from depths
    group by source
),

implants as (
    select
        source,
        count(*) as count_rows,
        count(*) filter (case_key is null) as count_without_case,
        count(achieved_entry_x_mm) as count_placed,
        max(
            greatest(
                abs(2 * achieved_entry_x_mm - round(2 * achieved_entry_x_mm)),
                abs(2 * achieved_entry_y_mm - round(2 * achieved_entry_y_mm)),
                abs(2 * achieved_entry_z_mm - round(2 * achieved_entry_z_mm))
            )
        ) as off_half_mm
    from staged.implants
    group by source
),

deviations as (
    select
        source,
        count(*) as count_rows,
        count(*) filter (case_key is null) as count_without_case,
        count(*) filter (depth_mm <> 0 and coalesce(is_signed, true)) as count_depths,
        count(*) filter (depth_mm < 0 and coalesce(is_signed, true)) as count_negative_depths,
        constant_offset(if(coalesce(is_signed, true), depth_mm, null)) as constant_depth_mm,
        count(*) filter (angle_deg > 0) as count_angles,
        max(angle_deg) as largest_angle_deg,
        coarse_step(angle_deg) as angle_step_deg,
        count(entry_3d_mm) as count_entries,
        coarse_step(entry_3d_mm) as entry_step_mm,
        count(entry_3d_mm) + count(apex_3d_mm) + count(angle_deg) as count_sizes,
        count(*) filter (entry_3d_mm = 0)
        + count(*) filter (apex_3d_mm = 0)
        + count(*) filter (angle_deg = 0) as count_zeros
    from staged.deviations
    group by source
),

cast_readings as (
    select
        source,
        count(*) as count_results,
        coarse_step(midline_mm) / max(resolution_mm) as steps_of_resolution
    from staged.cast_readings
    where state = 'achieved' and midline_mm is not null
    group by source
),

people as (
    select
        cases.source,
        count(distinct signs.code) as count_names_alike
    from staged.cases as cases
    inner join checked.number_signs as signs
        on
            signs.sign = 'name_alike'
            and signs.code in (
                cases.operator_code, cases.planned_by_code, cases.finished_by_code,
                cases.supervisor_code
            )
    group by cases.source
),

cases as (
    select
        cases.source,
        coalesce(any_value(people.count_names_alike), 0) as count_names_alike,
        any_value(series.count_absent) as count_absent
    from staged.cases as cases
    left join people on cases.source = people.source
    left join checked.number_series as series on cases.source = series.source
    group by cases.source
),

events as (
    select
        events.source,
        count(*) filter (kinds.component in ('insert', 'housing') and kinds.event_class <> 'adjustment')
            as count_of_a_side,
        count(*) filter (
            kinds.component in ('insert', 'housing') and kinds.event_class <> 'adjustment'
            and events.side is null
        ) as count_without_side,
        count(*) filter (events.event = 'insert_renewed') as count_renewed,
        count(*) filter (events.event = 'insert_renewed' and events.reason is null)
            as count_without_reason
    from staged.events as events
    left join reference.events as kinds on events.event = kinds.event
    group by events.source
)

select
    'deviations' as sheet,
    source,
    cast(if(count_depths >= 8, count_negative_depths, null) as double) as count_negative_depths,
    if(count_angles >= 8, largest_angle_deg, null) as largest_angle_deg,
    cast(if(count_angles >= 8, angle_step_deg, null) as double) as angle_step_deg,
    cast(if(count_entries >= 8, entry_step_mm, null) as double) as entry_step_mm,
    cast(if(count_depths >= 8, constant_depth_mm, null) as double) as constant_depth_mm,
    cast(if(count_sizes >= 24, 100.0 * count_zeros / count_sizes, null) as double)
        as zero_share_percent,
    cast(if(count_rows >= 4, 100.0 * count_without_case / count_rows, null) as double)
        as without_case_percent,
    cast(null as double) as coordinate_step_mm,
    cast(null as double) as constant_point_depth_mm,
    cast(null as double) as steps_of_resolution,
    cast(null as double) as without_side_percent,
    cast(null as double) as without_reason_percent,
    cast(null as double) as count_numbers_absent,
    cast(null as double) as count_names_alike
from deviations
union all by name
select
    'implants' as sheet,
    implants.source,
    cast(
        if(implants.count_placed >= 8, if(implants.off_half_mm < 1e-9, 0.5, 0), null) as double
    ) as coordinate_step_mm,
    cast(if(implant_depths.count_depths >= 8, implant_depths.constant_depth_mm, null) as double)
        as constant_point_depth_mm,
    cast(
        if(implants.count_rows >= 4, 100.0 * implants.count_without_case / implants.count_rows, null)
        as double
    ) as without_case_percent
from implants
left join implant_depths on implants.source = implant_depths.source
union all by name
select
    'cast_readings' as sheet,
    source,
    cast(if(count_results >= 8, steps_of_resolution, null) as double) as steps_of_resolution
from cast_readings
union all by name
select
    'events' as sheet,
    source,
    cast(if(count_of_a_side >= 8, 100.0 * count_without_side / count_of_a_side, null) as double)
        as without_side_percent,
    cast(if(count_renewed >= 8, 100.0 * count_without_reason / count_renewed, null) as double)
        as without_reason_percent
from events
union all by name
select
    'cases' as sheet,
    source,
    cast(count_absent as double) as count_numbers_absent,
    cast(count_names_alike as double) as count_names_alike
from cases

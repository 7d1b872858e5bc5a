-- What is judged about each row of the cases sheet. Grain: row_id; null = not applicable.
-- Days are counted from 1970-01-01. A case without a day of surgery is still being planned.
-- Workbooks count days from 1900 or from 1904, 1462 days apart: a surgery so much before its plan, or a
-- delivery so much before its surgery, and less than a year off besides, was copied from one to the other.
with
sides as (
    select
        poses.case_key,
        poses.side,
        poses.planned_axis_x,
        poses.planned_axis_y,
        poses.planned_axis_z,
        poses.achieved_axis_x,
        poses.achieved_axis_y,
        poses.achieved_axis_z,
        coalesce(implants.scan, '1') as scan
    from checked.poses as poses
    inner join staged.implants as implants on poses.row_id = implants.row_id
    where
        coalesce(implants.part, 'pair') = 'pair'
        and poses.case_key in (
            select held.case_key
            from staged.cases as held
            where held.planned_pair_angle_deg is not null or held.achieved_pair_angle_deg is not null
        )
),

pair_angles as (
    select
        cases.row_id,
        min(
            abs(
                cases.planned_pair_angle_deg
                - angle_between_deg(
                    lefts.planned_axis_x, lefts.planned_axis_y, lefts.planned_axis_z,
                    rights.planned_axis_x, rights.planned_axis_y, rights.planned_axis_z
                )
            )
        ) as planned_off_deg,
        min(
            abs(
                cases.achieved_pair_angle_deg
                - angle_between_deg(
                    lefts.achieved_axis_x, lefts.achieved_axis_y, lefts.achieved_axis_z,
                    rights.achieved_axis_x, rights.achieved_axis_y, rights.achieved_axis_z
                )
            )
        ) as achieved_off_deg
    from staged.cases as cases
    inner join sides as lefts on cases.case_key = lefts.case_key and lefts.side = 'left'
    inner join sides as rights
        on
            cases.case_key = rights.case_key
            and rights.side = 'right'
            and lefts.scan = rights.scan
    group by cases.row_id
),

same_patient as (
    select
        row_id,
        count(*) over (
            partition by patient_key, coalesce(jaw, 'lower'), surgery_date
        ) as count_on_the_day,
        surgery_date > min(surgery_date) over (
            partition by patient_key, coalesce(jaw, 'lower')
        ) as is_later
    from staged.cases
    where patient_key is not null and surgery_date is not null
)

select
    cases.row_id,
    cast(epoch(cases.surgery_date) / 86400 as double) as surgery_day,
    cast(epoch(cases.plan_date) / 86400 as double) as plan_day,
    cast(epoch(cases.film_check_date) / 86400 as double) as film_check_day,
    cast(epoch(cases.delivery_date) / 86400 as double) as delivery_day,
    cast(epoch(cases.last_observed_date) / 86400 as double) as last_observed_day,
    cast(epoch(cases.logged_date) / 86400 as double) as logged_day,
    cast(cases.surgery_date - cases.plan_date as double) as plan_to_surgery_days,
    cast(
        cases.delivery_date - coalesce(cases.surgery_date, cases.plan_date) as double
    ) as surgery_to_delivery_days,
    cast(
        cases.last_observed_date
        - coalesce(cases.delivery_date, cases.surgery_date, cases.plan_date) as double
    ) as delivery_to_last_days,
    cast(cases.training_year as double) as training_year,
    cast(cases.fixation_pins as double) as fixation_pins,
    cases.sleeve_bore_mm,
    cases.drill_diameter_mm,
    cases.sleeve_length_mm,
    cases.sleeve_to_entry_mm,
    cases.largest_drill_guided_mm,
    cast(cases.drill_set_uses as double) as drill_set_uses,
    cast(cases.stages as double) as count_stages,
    cases.ridge_reduction_mm,
    cases.bone_height_mm,
    cases.mucosa_thickness_mm,
    cases.planned_pair_angle_deg,
    cases.achieved_pair_angle_deg,
    cast(
        case
            when cases.surgery_date is null or coalesce(cases.plan_date, cases.delivery_date) is null
                then null
            else
                coalesce(cases.surgery_date - cases.plan_date between -1462 and -1097, false)
                or coalesce(cases.delivery_date - cases.surgery_date between -1462 and -1097, false)
        end as double
    ) as is_other_date_base,
    cast(cases.logged_date - cases.surgery_date as double) as surgery_to_logged_days,
    beyond(
        pair_angles.planned_off_deg, step_written(cases.planned_pair_angle_deg) / 2
    ) as planned_angle_off_points_deg,
    beyond(
        pair_angles.achieved_off_deg, step_written(cases.achieved_pair_angle_deg) / 2
    ) as achieved_angle_off_points_deg,
    cast(same_patient.count_on_the_day as double) as count_cases_on_the_day,
    cast(same_patient.is_later as double) as is_later_surgery
from staged.cases as cases
left join pair_angles on cases.row_id = pair_angles.row_id
left join same_patient on cases.row_id = same_patient.row_id

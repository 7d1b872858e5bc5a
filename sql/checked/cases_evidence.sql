-- What is judged about each row of the cases sheet. Grain: row_id; null = not applicable.
-- Days are counted from 1970-01-01. A case without a day of surgery is still being planned.
select
    row_id,
    cast(epoch(surgery_date) / 86400 as double) as surgery_day,
    cast(epoch(plan_date) / 86400 as double) as plan_day,
    cast(epoch(film_check_date) / 86400 as double) as film_check_day,
    cast(epoch(delivery_date) / 86400 as double) as delivery_day,
    cast(epoch(last_observed_date) / 86400 as double) as last_observed_day,
    cast(epoch(logged_date) / 86400 as double) as logged_day,
    cast(surgery_date - plan_date as double) as plan_to_surgery_days,
    cast(delivery_date - coalesce(surgery_date, plan_date) as double) as surgery_to_delivery_days,
    cast(
        last_observed_date - coalesce(delivery_date, surgery_date, plan_date) as double
    ) as delivery_to_last_days,
    cast(training_year as double) as training_year,
    cast(fixation_pins as double) as fixation_pins,
    sleeve_bore_mm,
    drill_diameter_mm,
    sleeve_length_mm,
    sleeve_to_entry_mm,
    largest_drill_guided_mm,
    cast(drill_set_uses as double) as drill_set_uses,
    cast(stages as double) as count_stages,
    ridge_reduction_mm,
    bone_height_mm,
    mucosa_thickness_mm,
    planned_pair_angle_deg,
    achieved_pair_angle_deg
from staged.cases

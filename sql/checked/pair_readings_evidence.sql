-- What is judged about each row of the pair_readings sheet. Grain: row_id; null = not applicable.
-- A sagittal angle carries its sign, and so does a frontal one where converging is not filled in.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
),

pins as (
    select
        case_key,
        state,
        coalesce(examiner_code, '') as examiner_code,
        coalesce(reading, 1) as reading,
        max(pin_length_mm) as pin_length_mm
    from staged.pair_readings
    group by all
)

select
    readings.row_id,
    case
        when readings.quantity = 'angle_3d' then readings.value
        when readings.quantity = 'frontal_angle' and readings.converging is not null
            then readings.value
        when readings.quantity in ('frontal_angle', 'sagittal_angle') then abs(readings.value)
    end as angle_size_deg,
    if(readings.quantity = 'entry_spacing', readings.value, null) as entry_spacing_mm,
    if(readings.quantity = 'tip_spacing', readings.value, null) as tip_spacing_mm,
    readings.pin_length_mm,
    readings.camera_distance_mm,
    case
        when readings.quantity = 'tip_spacing' then cast(pins.pin_length_mm is not null as double)
    end as is_pin_length_given,
    case
        when readings.quantity = 'angle_3d'
            then
                cast(
                    readings.reading_source not in (
                        'photo', 'panoramic', 'pa_skull', 'lateral_skull', 'periapical'
                    ) as double
                )
    end as is_source_of_space,
    cast(readings.reading as double) as reading,
    cast(epoch(readings.measured_date) / 86400 as double) as measured_day,
    case
        when readings.state = 'achieved'
            then cast(readings.measured_date - cases_known.surgery_date as double)
    end as surgery_to_measured_days
from staged.pair_readings as readings
left join cases_known on readings.case_key = cases_known.case_key
left join pins
    on
        readings.case_key = pins.case_key
        and readings.state = pins.state
        and coalesce(readings.examiner_code, '') = pins.examiner_code
        and coalesce(readings.reading, 1) = pins.reading

-- What is judged about each row of the cast_readings sheet. Grain: row_id; null = not applicable.
-- Equal plans (8 and 8 mm) are how the method works, so nothing here looks for sameness.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
),

planned_casts as (
    select distinct
        case_key,
        cast_code
    from staged.cast_readings
    where state = 'planned' and cast_code is not null
)

select
    readings.row_id,
    readings.midline_mm,
    abs(readings.midline_mm) as midline_size_mm,
    readings.crest_offset_mm,
    readings.left_pad_mm,
    readings.right_pad_mm,
    readings.between_pads_mm,
    pad_x_mm(readings.left_pad_mm, readings.right_pad_mm, readings.between_pads_mm)
    * case readings.side when 'left' then 1 when 'right' then -1 end as pad_outward_mm,
    pad_forward_mm2(
        readings.left_pad_mm, readings.right_pad_mm, readings.between_pads_mm
    ) as pad_forward_mm2,
    readings.resolution_mm,
    cast(readings.reading as double) as reading,
    cast(epoch(readings.measured_date) / 86400 as double) as measured_day,
    case
        when readings.state = 'achieved'
            then cast(readings.measured_date - cases_known.surgery_date as double)
    end as surgery_to_measured_days,
    case
        when readings.state = 'achieved' and readings.cast_code is not null
            then cast(planned_casts.cast_code is not null as double)
    end as is_planned_cast
from staged.cast_readings as readings
left join cases_known on readings.case_key = cases_known.case_key
left join planned_casts
    on
        readings.case_key = planned_casts.case_key
        and readings.cast_code = planned_casts.cast_code

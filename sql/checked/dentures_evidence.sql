-- What is judged about each row of the dentures sheet. Grain: row_id; null = not applicable.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
)

select
    dentures.row_id,
    cast(dentures.denture_no as double) as denture_no,
    cast(epoch(dentures.delivery_date) / 86400 as double) as delivery_day,
    cast(epoch(dentures.end_date) / 86400 as double) as end_day,
    cast(dentures.delivery_date - cases_known.surgery_date as double) as surgery_to_delivery_days,
    cast(dentures.end_date - dentures.delivery_date as double) as delivery_to_end_days
from staged.dentures as dentures
left join cases_known on dentures.case_key = cases_known.case_key

-- What is judged about each row of the visits sheet. Grain: row_id; null = not applicable.
-- A recall, or a visit that names its denture, follows the delivery of it; any other visit between
-- surgery and delivery is no fault.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date,
        min(delivery_date) as delivery_date
    from staged.cases
    group by case_key
),

dentures_known as (
    select
        case_key,
        denture_no,
        min(delivery_date) as delivery_date
    from staged.dentures
    group by case_key, denture_no
),

seen as (
    select
        visits.*,
        cases_known.surgery_date,
        coalesce(
            dentures_known.delivery_date,
            if(coalesce(visits.denture_no, 1) = 1, cases_known.delivery_date, null)
        ) as delivery_date
    from staged.visits as visits
    left join cases_known on visits.case_key = cases_known.case_key
    left join dentures_known
        on
            visits.case_key = dentures_known.case_key
            and coalesce(visits.denture_no, 1) = dentures_known.denture_no
)

select
    row_id,
    cast(epoch(visit_date) / 86400 as double) as visit_day,
    cast(visit_date - surgery_date as double) as surgery_to_visit_days,
    case
        when
            (planned_visit or denture_no is not null)
            and (visit_date >= surgery_date or surgery_date is null)
            then cast(visit_date - delivery_date as double)
    end as delivery_to_visit_days,
    minutes,
    cast(denture_no as double) as denture_no
from seen

-- What is judged about each row of the visits sheet. Grain: row_id; null = not applicable.
with
cases_known as (
    select
        case_key,
        min(surgery_date) as surgery_date
    from staged.cases
    group by case_key
)

select
    visits.row_id,
    cast(epoch(visits.visit_date) / 86400 as double) as visit_day,
    cast(visits.visit_date - cases_known.surgery_date as double) as surgery_to_visit_days,
    visits.minutes,
    cast(visits.denture_no as double) as denture_no
from staged.visits as visits
left join cases_known on visits.case_key = cases_known.case_key

-- Plans of operated cases: how many the load log proves to have been on file before surgery. One row.
select
    count(*) filter (u.surgery_date is not null) as count_operated,
    count(p.is_before_surgery) as count_with_plan,
    count(*) filter (p.is_before_surgery) as count_before_surgery,
    count(*) filter (p.is_altered_after) as count_altered_after,
    count(distinct u.patient_key) filter (p.is_before_surgery is not null) as count_patients,
    min(p.on_file_date) as first_on_file_date
from summarised.cases_used as u
left join measured.plans_on_file as p on u.case_key = p.case_key

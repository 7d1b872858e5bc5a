-- How many cases each trainee has had, and in what part. Grain: trainee_code, setting.
select
    t.trainee_code,
    t.setting,
    count(t.case_number) as count_cases,
    count(*) filter (where t.case_number is not null and not t.is_taken_over)
        as count_placed,
    count(*) filter (where t.case_number is not null and t.is_taken_over)
        as count_taken_over,
    count(*) filter (where t.case_number is null) as count_assisted,
    count(*) filter (where t.case_number is not null and t.is_supervised)
        as count_supervised,
    count(*) filter (where t.case_number is not null and t.guidance = 'pilot')
        as count_pilot,
    count(*) filter (where t.case_number is not null and t.guidance = 'full')
        as count_full,
    count(*) filter (where t.case_number is not null and t.has_achieved)
        as count_measured,
    count(*) filter (where t.case_number is not null and t.is_self_measured)
        as count_self_measured,
    count(t.logged_date) filter (where t.case_number is not null) as count_logged,
    median(t.logged_date - t.surgery_date) filter (where t.case_number is not null)
        as median_log_lag_days,
    max(t.logged_date - t.surgery_date) filter (where t.case_number is not null)
        as longest_log_lag_days,
    count(*) filter (where t.case_number is not null and t.is_two_implant_lower)
        as count_two_implant_lower,
    min(t.surgery_date) filter (where t.case_number is not null) as first_date,
    max(t.surgery_date) filter (where t.case_number is not null) as last_date
from summarised.trainee_cases as t
group by t.trainee_code, t.setting

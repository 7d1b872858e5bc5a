-- Cases of students and residents in the order of their surgery, whatever the cycle. A case
-- taken over by somebody else counts for the one who started it. Grain: trainee_code, setting, case_key.
with of_trainees as (
    select
        c.*,
        c.operator_role = 'assisted' as is_assisted
    from measured.cases as c
    where
        c.operator_level in ('student', 'resident')
        and c.operator_code is not null
        and c.surgery_date is not null
)

select
    t.operator_code as trainee_code,
    t.setting,
    t.case_key,
    case
        when not t.is_assisted
            then row_number() over (
                partition by t.operator_code, t.setting, t.is_assisted
                order by t.surgery_date, t.case_key
            )
    end::integer as case_number,
    t.operator_level,
    t.training_year,
    t.surgery_date,
    t.operator_role,
    t.is_taken_over,
    t.is_supervised,
    t.guidance,
    t.guide_method,
    t.bone_height_mm,
    t.logged_date,
    t.has_achieved,
    r.case_key is not null as is_self_measured
from of_trainees as t
left join measured.examiners as r
    on t.case_key = r.case_key and t.operator_code = r.examiner_code

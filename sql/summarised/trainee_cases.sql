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
),

-- implants of each jaw as far as records of single implants go
implants_of as (
    select
        i.case_key,
        count(distinct i.implant_key) as count_implants
    from (
        select
            u.case_key,
            u.implant_key
        from checked.usable_implants as u
        union
        select
            d.case_key,
            d.implant_key
        from checked.usable_deviations as d
    ) as i
    group by i.case_key
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
    t.jaw = 'lower' and coalesce(n.count_implants, 2) = 2 as is_two_implant_lower,
    r.case_key is not null as is_self_measured
from of_trainees as t
left join measured.examiners as r
    on t.case_key = r.case_key and t.operator_code = r.examiner_code
left join implants_of as n on t.case_key = n.case_key

-- Cases had against the numbers the programme asks for in requirements.csv; patients only.
-- Grain: trainee_code, requirement, role, guidance.
with trainees as (
    select distinct t.trainee_code
    from summarised.trainee_cases as t
    where t.setting = 'patient'
)

select
    n.trainee_code,
    r.requirement,
    coalesce(nullif(r.role, ''), 'own') as required_role,
    nullif(r.guidance, '') as guidance,
    count(t.case_key) as count_had,
    any_value(r.cases::integer) as count_required
from trainees as n
cross join reference.requirements as r
left join summarised.trainee_cases as t
    on
        n.trainee_code = t.trainee_code
        and t.setting = 'patient'
        and (r.guidance = '' or r.guidance = t.guidance)
        and case r.role
            when 'assisted' then t.case_number is null
            when 'finished' then t.case_number is not null and not t.is_taken_over
            else t.case_number is not null
        end
group by all

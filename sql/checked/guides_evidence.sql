-- What is judged about each row of the guides sheet. Grain: row_id; null = not applicable. A hole as wide
-- as its drill leaves no play by size and is no fault; a hole that the drill does not pass is one.
with plans as (
    select
        case_key,
        min(plan_date) as plan_date
    from staged.cases
    group by case_key
),

named as (
    select distinct cases.guide_code
    from staged.cases as cases
    where cases.guide_code is not null
)

select
    guides.row_id,
    cast(guides.step as double) as step,
    cast(epoch(guides.made_date) / 86400 as double) as made_day,
    case
        when guides.kind = 'surgical'
            then cast(guides.made_date - plans.plan_date as double)
    end as plan_to_made_days,
    guides.hole_diameter_mm,
    guides.hole_length_mm,
    guides.hole_to_tissue_mm,
    guides.drill_diameter_mm,
    guides.largest_drill_guided_mm,
    guides.hole_diameter_mm - guides.drill_diameter_mm as hole_less_drill_mm,
    cast(guides.fixation_pins as double) as fixation_pins,
    case
        when
            received.case_id = ''
            and guides.job_no_code is not null
            and named.guide_code is null
            then cast(coalesce(jobs.count_cases, 0) as double)
    end as cases_of_job
from staged.guides as guides
inner join records.guides as received on guides.row_id = received.row_id
left join plans on guides.case_key = plans.case_key
left join named on guides.guide_code = named.guide_code
left join staged.number_cases as jobs on jobs.kind = 'job' and guides.job_no_code = jobs.code

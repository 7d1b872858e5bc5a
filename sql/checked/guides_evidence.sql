-- What is judged about each row of the guides sheet. Grain: row_id; null = not applicable. A hole as wide
-- as its drill leaves no play by size and is no fault; a hole that the drill does not pass is one.
with plans as (
    select
        case_key,
        min(plan_date) as plan_date
    from staged.cases
    group by case_key
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
    cast(guides.fixation_pins as double) as fixation_pins
from staged.guides as guides
left join plans on guides.case_key = plans.case_key

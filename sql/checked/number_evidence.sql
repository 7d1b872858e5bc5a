-- What is judged about the clinic's number of a case. Grain: case_key; null where the list of numbers is
-- not on this machine.
-- noqa: disable=LT09
with
rows_received as (
    select case_key, source, 'cases' as sheet from staged.cases  -- noqa: RF04
    union all
    select case_key, source, 'implants' as sheet from staged.implants
    union all
    select case_key, source, 'deviations' as sheet from staged.deviations
    union all
    select case_key, source, 'cast_readings' as sheet from staged.cast_readings
    union all
    select case_key, source, 'pair_readings' as sheet from staged.pair_readings
    union all
    select case_key, source, 'visits' as sheet from staged.visits
    union all
    select case_key, source, 'events' as sheet from staged.events
),

-- noqa: enable=LT09
numbered as (
    select
        case_key,
        min(source) as source,  -- noqa: RF04
        min_by(sheet, source) as sheet
    from rows_received
    where case_key is not null
    group by case_key
),

signs as (
    select
        code,
        bool_or(sign = 'e_notation') as is_rounded,
        bool_or(sign = 'lost_zeros') as is_short_of_zeros
    from checked.number_signs
    group by code
)

select
    numbered.case_key,
    numbered.sheet,
    numbered.source,
    cast(coalesce(signs.is_rounded, false) as double) as is_rounded,
    cast(coalesce(signs.is_short_of_zeros, false) as double) as is_short_of_zeros
from numbered
left join signs on numbered.case_key = signs.code

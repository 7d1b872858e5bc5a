-- What is judged about a case over all its sheets. Grain: case_key. A tooth number is kept as
-- written, so one implant may be called 32 on one sheet and 33 on another; its side may not change.
-- American numbers 22 to 24 are the lower left front teeth, 25 to 27 the lower right ones; as FDI numbers
-- all six would be upper left teeth.
with
sites as (
    select
        case_key,
        'implants' as sheet,
        source,
        side,
        tooth,
        if(coalesce(part, 'pair') = 'pair', implant_key, null) as implant_key
    from staged.implants
    where case_key is not null
    union all
    select
        case_key,
        'deviations' as sheet,
        source,
        side,
        tooth,
        implant_key
    from staged.deviations
    where case_key is not null
    union all
    select
        case_key,
        'films' as sheet,
        source,
        if(side = 'both', null, side) as side,
        tooth,
        null as implant_key
    from staged.films
    where case_key is not null
),

teeth as (
    select
        case_key,
        max(cast(is_on_two_sides as integer)) as is_tooth_on_two_sides
    from (
        select
            case_key,
            min(side) <> max(side) as is_on_two_sides
        from sites
        where tooth is not null and side is not null
        group by case_key, tooth
    ) as by_tooth
    group by case_key
),

sheet_sides as (
    select
        case_key,
        sheet,
        side,
        if(min(tooth) = max(tooth), min(tooth), null) as only_tooth,
        min(implant_key) <> max(implant_key) as is_more_than_one,
        count(implant_key) > 0 as has_implant,
        bool_or(tooth in ('22', '23', '24')) as is_us_left,
        bool_or(tooth in ('25', '26', '27')) as is_us_right,
        bool_and(tooth in ('22', '23', '24', '25', '26', '27')) as is_nothing_else,
        min(source) as first_source
    from sites
    group by case_key, sheet, side
),

sides as (
    select
        case_key,
        side,
        min(only_tooth) <> max(only_tooth) as is_two_teeth
    from sheet_sides
    where side is not null
    group by case_key, side
),

sides_of_cases as (
    select
        case_key,
        max(cast(is_two_teeth as integer)) as is_side_of_two_teeth
    from sides
    group by case_key
),

partners as (
    select
        case_key,
        min(side) = max(side) and not coalesce(bool_or(is_more_than_one), false) as is_alone
    from sheet_sides
    where has_implant and side is not null
    group by case_key
),

numberings as (
    select
        case_key,
        bool_or(is_us_left) and bool_or(is_us_right) and bool_and(is_nothing_else) as is_us_pair
    from sheet_sides
    where is_us_left is not null
    group by case_key
),

sheets as (
    select
        case_key,
        sheet,
        min(first_source) as first_source,
        bool_or(is_more_than_one) filter (side is not null) as is_more_than_one,
        count(*) filter (has_implant and side is not null) as count_sides
    from sheet_sides
    group by case_key, sheet
),

cases as (
    select
        case_key,
        min(first_source) as first_source,
        min_by(sheet, first_source) as first_sheet,
        max(cast(is_more_than_one as integer)) filter (count_sides = 1) as is_one_sided,
        max(cast(is_more_than_one as integer)) filter (count_sides = 2) as is_more_than_a_pair
    from sheets
    group by case_key
)

select
    cases.case_key,
    cases.first_sheet as sheet,
    cases.first_source as source,  -- noqa: RF04
    cast(teeth.is_tooth_on_two_sides as double) as is_tooth_on_two_sides,
    cast(sides_of_cases.is_side_of_two_teeth as double) as is_side_of_two_teeth,
    cast(cases.is_one_sided as double) as is_one_sided,
    cast(cases.is_more_than_a_pair as double) as is_more_than_a_pair,
    cast(partners.is_alone as double) as is_without_partner,
    cast(numberings.is_us_pair as double) as is_us_pair
from cases
left join partners on cases.case_key = partners.case_key
left join numberings on cases.case_key = numberings.case_key
left join teeth on cases.case_key = teeth.case_key
left join sides_of_cases on cases.case_key = sides_of_cases.case_key

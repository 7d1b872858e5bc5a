-- One row per row in use, whatever its sheet: what can be asked of any sheet. Grain: row_id.
-- A repeated key is only looked for where every required field was given.
-- One line a sheet reads best in the two unions below.
-- noqa: disable=LT09,RF04
with
rows_received as (
    select row_id, 'cases' as sheet, source, row_key, case_key from staged.cases
    union all
    select row_id, 'implants' as sheet, source, key_of_place(row_key, implant_key) as row_key, case_key
    from staged.implants
    union all
    select row_id, 'deviations' as sheet, source, key_of_place(row_key, implant_key) as row_key, case_key
    from staged.deviations
    union all
    select row_id, 'cast_readings' as sheet, source, row_key, case_key from staged.cast_readings
    union all
    select row_id, 'pair_readings' as sheet, source, row_key, case_key from staged.pair_readings
    union all
    select row_id, 'films' as sheet, source, key_of_place(row_key, implant_key) as row_key, case_key
    from staged.films
    union all
    select row_id, 'landmarks' as sheet, source, row_key, case_key from staged.landmarks
    union all
    select row_id, 'guides' as sheet, source, row_key, case_key from staged.guides
    union all
    select row_id, 'visits' as sheet, source, row_key, case_key from staged.visits
    union all
    select row_id, 'events' as sheet, source, row_key, case_key from staged.events
    union all
    select row_id, 'dentures' as sheet, source, row_key, case_key from staged.dentures
    union all
    select row_id, 'numbers' as sheet, source, row_key, case_key from staged.numbers
    union all
    select row_id, 'treated' as sheet, source, row_key, null as case_key from staged.treated
),

rows_in_use as (
    select * replace (plain_key(row_key) as row_key)
    from rows_received
),

problems_of_row as (
    select
        problems.row_id,
        count(*) filter (
            fields.is_required = 'yes' and problems.problem in ('empty', 'said_missing')
        ) as count_required_missing,
        count(*) filter (problems.problem = 'not_a_number') as count_not_a_number,
        count(*) filter (problems.problem = 'not_whole') as count_not_whole,
        count(*) filter (problems.problem = 'qualified') as count_qualified,
        count(*) filter (problems.problem = 'not_a_day') as count_not_a_day,
        count(*) filter (problems.problem = 'not_a_code') as count_not_a_code
    from staged.problems as problems
    left join reference.fields as fields
        on problems.sheet = fields.sheet and problems.field = fields.field
    group by problems.row_id
),

complete_rows as (
    select rows_in_use.row_id, rows_in_use.sheet, rows_in_use.source, rows_in_use.row_key
    from rows_in_use
    left join problems_of_row on rows_in_use.row_id = problems_of_row.row_id
    where
        coalesce(problems_of_row.count_required_missing, 0) = 0
        and rows_in_use.row_key is not null
),

repeated_keys as (
    select sheet, row_key
    from complete_rows
    group by sheet, row_key
    having count(*) > 1
),

repeated_rows as (
    select complete_rows.row_id, complete_rows.sheet, complete_rows.source, complete_rows.row_key
    from complete_rows
    inner join repeated_keys
        on
            complete_rows.sheet = repeated_keys.sheet
            and complete_rows.row_key = repeated_keys.row_key
),

contents as (
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.cases
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.implants
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.deviations
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.cast_readings
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.pair_readings
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.films
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.landmarks
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.guides
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.visits
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.events
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.dentures
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.numbers
    where row_id in (select row_id from repeated_rows)
    union all
    select row_id, hash(*columns(* exclude (row_id, source, row_number, row_key))) as content
    from staged.treated
    where row_id in (select row_id from repeated_rows)
),

repeats as (
    select
        repeated_rows.row_id,
        count(*) over (of_key) as count_of_key,
        count(*) over (of_file) as count_in_file,
        count(*) over (of_content) - count(*) over (of_content_in_file) as count_copies_elsewhere,
        min(repeated_rows.row_id) over (of_content) < repeated_rows.row_id as is_later_copy
    from repeated_rows
    inner join contents on repeated_rows.row_id = contents.row_id
    window
        of_key as (partition by repeated_rows.sheet, repeated_rows.row_key),
        of_file as (
            partition by repeated_rows.sheet, repeated_rows.row_key, repeated_rows.source
        ),
        of_content as (
            partition by repeated_rows.sheet, repeated_rows.row_key, contents.content
        ),
        of_content_in_file as (
            partition by
                repeated_rows.sheet, repeated_rows.row_key, contents.content, repeated_rows.source
        )
),

-- noqa: enable=all
known_cases as (
    select
        case_key,
        count(*) as count_rows
    from staged.cases
    where case_key is not null
    group by case_key
),

-- follow-up that names no case, only the practice's number of the patient
numbered as (
    select
        row_id,
        practice_no
    from records.visits
    where case_id = '' and practice_no <> ''
    union all
    select
        row_id,
        practice_no
    from records.events
    where case_id = '' and practice_no <> ''
    union all
    select
        row_id,
        practice_no
    from records.dentures
    where case_id = '' and practice_no <> ''
),

-- a row of a load that was replaced is still in use only because the new load no longer has it
loads_compared as (
    select
        load_no,
        status,
        count(*) over (partition by source, sheet) as count_loads
    from records.loads
)

select
    rows_in_use.row_id,
    rows_in_use.sheet,
    cast(coalesce(problems_of_row.count_required_missing, 0) as double) as count_required_missing,
    cast(coalesce(problems_of_row.count_not_a_number, 0) as double) as count_not_a_number,
    cast(coalesce(problems_of_row.count_not_whole, 0) as double) as count_not_whole,
    cast(coalesce(problems_of_row.count_qualified, 0) as double) as count_qualified,
    cast(coalesce(problems_of_row.count_not_a_day, 0) as double) as count_not_a_day,
    cast(coalesce(problems_of_row.count_not_a_code, 0) as double) as count_not_a_code,
    cast(
        case
            when rows_in_use.row_key is null then null
            when problems_of_row.count_required_missing > 0 then null
            else coalesce(repeats.count_in_file, 1)
        end as double
    ) as count_in_file,
    cast(
        case
            when rows_in_use.row_key is null then null
            when problems_of_row.count_required_missing > 0 then null
            else coalesce(repeats.count_copies_elsewhere, 0)
        end as double
    ) as count_copies_elsewhere,
    cast(
        case
            when rows_in_use.row_key is null then null
            when problems_of_row.count_required_missing > 0 then null
            else
                coalesce(
                    repeats.count_of_key - repeats.count_in_file - repeats.count_copies_elsewhere, 0
                )
        end as double
    ) as count_other_versions,
    cast(
        case
            when rows_in_use.case_key is null then null
            when not exists (from known_cases) then null
            else coalesce(known_cases.count_rows, 0)
        end as double
    ) as count_cases_rows,
    cast(
        case
            when numbered.row_id is not null then coalesce(number_cases.count_cases, 0)
        end as double
    ) as cases_of_number,
    cast(
        case
            when loads_compared.status = 'replaced' then 1
            when loads_compared.count_loads > 1 then 0
        end as double
    ) as is_no_longer_there,
    coalesce(repeats.count_copies_elsewhere > 0 and repeats.is_later_copy, false) as is_later_copy
from rows_in_use
left join loads_compared on rows_in_use.row_id // 4294967296 = loads_compared.load_no
left join problems_of_row on rows_in_use.row_id = problems_of_row.row_id
left join repeats on rows_in_use.row_id = repeats.row_id
left join numbered on rows_in_use.row_id = numbered.row_id
left join staged.number_cases as number_cases
    on number_cases.kind = 'practice' and numbered.practice_no = number_cases.code
left join known_cases on rows_in_use.case_key = known_cases.case_key

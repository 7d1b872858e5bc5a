-- What is asked of the loads of a sheet of one file. Grain: sheet, source. A file older than what was
-- loaded from it before is held whole until somebody says which is right; a later load answers it. A list
-- of appointments of which no row is of a patient in the audit has most likely other numbers.
with
questions as (
    select older.*
    from records.loads as older
    anti join records.loads as later
        on
            older.source = later.source
            and older.sheet = later.sheet
            and older.tab is not distinct from later.tab
            and older.load_no < later.load_no
            and later.status <> 'correction'
    where older.status = 'older'
),

in_use as (
    select
        sheet,
        source,  -- noqa: RF04
        sum(count_rows) as count_rows,
        sum(count_left_out) as count_left_out
    from records.loads
    where status = 'in use'
    group by sheet, source
)

select
    loads.sheet,
    loads.source,
    cast(coalesce(sum(questions.count_rows), 0) as double) as count_rows_older,
    cast(
        case
            when in_use.count_left_out > 0 and in_use.count_rows = 0 then in_use.count_left_out
            when in_use.count_left_out > 0 then 0
        end as double
    ) as count_rows_of_nobody
from records.loads as loads
left join in_use on loads.sheet = in_use.sheet and loads.source = in_use.source
left join questions on loads.load_no = questions.load_no
group by loads.sheet, loads.source, in_use.count_rows, in_use.count_left_out

-- What is asked of the loads of a sheet of one file. Grain: sheet, source. A file older than what was
-- loaded from it before is held whole until somebody says which is right; a later load answers it.
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
)

select
    loads.sheet,
    loads.source,
    cast(coalesce(sum(questions.count_rows), 0) as double) as count_rows_older
from records.loads as loads
left join questions on loads.load_no = questions.load_no
group by loads.sheet, loads.source

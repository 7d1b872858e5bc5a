-- What came, by sheet, and how much of it is set aside; whatever the cycle. Grain: sheet.
with in_use as (
    select
        c.sheet,
        any_value(c.count_rows) as count_rows
    from staged.completeness as c
    group by c.sheet
),

files as (
    select
        s.sheet,
        count(distinct s.source) as count_files
    from audit.sources as s
    where s.status = 'in use'
    group by s.sheet
),

held as (
    select
        h.sheet,
        count(*) as count_rows_held,
        count(distinct h.case_key) as count_cases_held
    from checked.held as h
    group by h.sheet
),

cells as (
    select distinct
        f.sheet,
        f.row_id,
        f.field
    from checked.findings as f
    inner join checked.cells_set_aside as a on f.row_id = a.row_id and f.field = a.field
    anti join checked.held as h on f.row_id = h.row_id
    where f.reach = 'cell'
),

cells_counted as (
    select
        c.sheet,
        count(*) as count_cells_held
    from cells as c
    group by c.sheet
)

select
    u.sheet,
    coalesce(f.count_files, 0) as count_files,
    u.count_rows,
    coalesce(h.count_rows_held, 0) as count_rows_held,
    coalesce(h.count_cases_held, 0) as count_cases_held,
    coalesce(c.count_cells_held, 0) as count_cells_held
from in_use as u
left join files as f on u.sheet = f.sheet
left join held as h on u.sheet = h.sheet
left join cells_counted as c on u.sheet = c.sheet

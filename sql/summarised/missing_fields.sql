-- How many rows in use leave a field without a value, for the sheets in use; whatever the cycle.
-- Grain: sheet, field.
with cells as (
    select
        f.sheet,
        f.field,
        count(distinct f.row_id) as count_set_aside
    from checked.findings as f
    inner join checked.cells_set_aside as a on f.row_id = a.row_id and f.field = a.field
    where f.reach = 'cell'
    group by f.sheet, f.field
)

select
    c.sheet,
    c.field,
    c.count_rows,
    c.count_rows - c.count_given as count_missing,
    c.count_said_missing,
    c.count_unreadable,
    coalesce(x.count_set_aside, 0) as count_set_aside,
    (c.count_rows - c.count_given) / c.count_rows as share_missing
from staged.completeness as c
left join cells as x on c.sheet = x.sheet and c.field = x.field

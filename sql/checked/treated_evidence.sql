-- What is judged about each row of the treated sheet. Grain: row_id; null = not applicable.
select
    row_id,
    cast(epoch(date) / 86400 as double) as treated_day
from staged.treated

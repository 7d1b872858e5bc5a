-- The jaw's own directions in the plan's coordinates, where none of its landmarks is set aside; a case
-- without a row stands in the plan's own directions. Columns: reference/columns.csv. Grain: case_key.
with with_held_landmarks as (
    select distinct l.case_key
    from checked.jaw_landmarks as l
    cross join unnest(l.row_ids) as u (row_id)  -- noqa: AL05
    inner join checked.held as h on u.row_id = h.row_id
)

select f.*
from checked.jaw_frames as f
anti join with_held_landmarks as h on f.case_key = h.case_key

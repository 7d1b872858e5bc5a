-- Distance between the two sites seen from above, from their places against the retromolar pads.
-- Grain: case_key, achieved_source, state.
select
    l.case_key,
    l.achieved_source,
    l.state,
    sqrt((l.x_mm - r.x_mm) ^ 2 + (l.forward_mm - r.forward_mm) ^ 2) as spacing_mm
from measured.pad_sites as l
inner join measured.pad_sites as r
    on
        l.case_key = r.case_key
        and l.achieved_source = r.achieved_source
        and l.state = r.state
        and l.side = 'left'
        and r.side = 'right'

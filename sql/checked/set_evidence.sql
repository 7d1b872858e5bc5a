-- What is judged about the figures of one file together. Grain: sheet, source. Null where there are
-- too few values to say.
with
files as (
    select
        source,
        count(*) filter (depth_mm <> 0 and coalesce(is_signed, true)) as count_depths,
        count(*) filter (depth_mm < 0 and coalesce(is_signed, true)) as count_negative_depths,
        count(*) filter (angle_deg > 0) as count_angles,
        max(angle_deg) as largest_angle_deg
    from staged.deviations
    group by source
)

select
    'deviations' as sheet,
    source,
    cast(if(count_depths >= 8, count_negative_depths, null) as double) as count_negative_depths,
    if(count_angles >= 8, largest_angle_deg, null) as largest_angle_deg
from files

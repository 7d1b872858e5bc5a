-- The mean of a column that hardly scatters about it (less than half of it), without sign; else 0. An
-- aggregate.
create or replace temp macro constant_offset(v) as
if(abs(avg(v)) > 2 * stddev_samp(v), abs(avg(v)), 0);

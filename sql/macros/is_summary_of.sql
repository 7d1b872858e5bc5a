-- Whether a figure is the mean, or the sum, of all the other figures of its column, as it is written.
-- column_sum and column_count hold the figure itself.
create or replace temp macro is_summary_of(v, column_sum, column_count) as
least(
    abs(v - (column_sum - v) / nullif(column_count - 1, 0)),
    abs(v - (column_sum - v))
) <= step_written(v) / 2 + 1e-9;

-- Decimals a figure is written with, at most 3; 0 for a whole figure and for none.
create or replace temp macro decimals_of(v) as
coalesce(cast(round(-log10(step_written(v))) as integer), 0);

-- The coarsest step that all figures of a column stand on: 1, 0.5, or 0 where they are finer. An aggregate.
create or replace temp macro coarse_step(v) as
case
    when max(abs(v - round(v))) < 1e-9 then 1
    when max(abs(2 * v - round(2 * v))) < 1e-9 then 0.5
    else 0
end;

-- The step a number was written in (1, 0.1, 0.01, 0.001), so that rounding can be allowed for.
create or replace temp macro step_written(v) as
case
    when abs(v - round(v, 0)) < 1e-9 then 1.0
    when abs(v - round(v, 1)) < 1e-9 then 0.1
    when abs(v - round(v, 2)) < 1e-9 then 0.01
    when v is not null then 0.001
end;

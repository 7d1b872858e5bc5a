-- Two independent standard uncertainties together; the one that is known where only one is.
create or replace temp macro root_sum_squares(a, b) as
case when a is null then b when b is null then a else sqrt(a ^ 2 + b ^ 2) end;

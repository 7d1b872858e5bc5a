-- A finite number or null: no nan, no infinity, no 1_000.
create or replace temp macro number_of(t, decimal_sign) as
case
    when isfinite(try_cast(plain_number(t, decimal_sign) as double)) and not contains(t, '_')
        then try_cast(plain_number(t, decimal_sign) as double)
end;

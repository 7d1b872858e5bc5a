-- A finite number or null: no nan, no infinity, no 1_000. A vulgar fraction is read only where a sign of one
-- stands in the cell, since most cells have none and looking closer costs time.
create or replace temp macro number_of(t, decimal_sign) as
case
    when isfinite(try_cast(plain_number(t, decimal_sign) as double)) and not contains(t, '_')
        then try_cast(plain_number(t, decimal_sign) as double)
    when contains(t, '/') or strlen(t) > length(t)
        then fraction_of(t)
end;

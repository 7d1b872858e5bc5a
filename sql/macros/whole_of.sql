-- A whole number or null: 33.7 is never 34.
create or replace temp macro whole_of(t, decimal_sign) as
case
    when regexp_full_match(trim(plain_number(t, decimal_sign)), '[+-]?\d{1,9}(\.0*)?')
        then try_cast(trim(plain_number(t, decimal_sign)) as double)::integer
end;

-- A number's text with a point for the decimal sign; null where both signs stand in one cell.
create or replace temp macro plain_number(t, decimal_sign) as
case
    when decimal_sign = ',' and contains(t, '.') then null
    when decimal_sign = ',' then replace(translate(t, '−' || chr(160), '- '), ',', '.')
    else translate(t, '−' || chr(160), '- ')
end;

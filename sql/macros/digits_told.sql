-- About how many decimal digits a figure tells, given over what span such figures scatter (8 degrees is 0.9,
-- 1.5 mm is 0.2): two rows agree in it by chance about once in 10 ^ digits. 0 where there is no figure.
create or replace temp macro digits_told(v, digits_of_span) as
if(v is null, 0, decimals_of(v) + digits_of_span);

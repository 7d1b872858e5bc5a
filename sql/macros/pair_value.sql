-- A reading of the pair with its sign: a frontal angle converges (positive) or diverges by what the sheet
-- says; unsaid, its sign is unknown and the value is null.
create or replace temp macro pair_value(quantity, v, converging) as
case
    when quantity <> 'frontal_angle' or v <= 0 then v
    when converging is null then null
    when converging then v
    else -v
end;

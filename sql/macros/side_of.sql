-- The patient's own side of an FDI tooth position; null for any other text.
create or replace temp macro side_of(tooth) as
case
    when regexp_full_match(tooth, '[23][1-8]') then 'left'
    when regexp_full_match(tooth, '[14][1-8]') then 'right'
end;

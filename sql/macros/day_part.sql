-- The day in a text that a spreadsheet shows for a day; see month_part.
create or replace temp macro day_part(t) as
try_cast(
    case
        when regexp_matches(t, '^\d{4}-') then regexp_extract(t, '^\d{4}-\d{1,2}-(\d{1,2})', 1)
        else regexp_extract(t, '(\d{1,4})', 1)
    end as integer
);

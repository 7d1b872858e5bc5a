-- The month in a text that a spreadsheet shows for a day: its name, else the second number. Of two plain
-- numbers the second is taken for the month, as most of the world writes it.
create or replace temp macro month_part(t) as
coalesce(
    nullif(
        list_position(
            ['jan', 'feb', 'mar', 'apr', 'may', 'jun', 'jul', 'aug', 'sep', 'oct', 'nov', 'dec'],
            replace(
                replace(
                    replace(replace(regexp_extract(t, '[a-zä]{3}'), 'ä', 'a'), 'mai', 'may'), 'okt', 'oct'
                ), 'dez', 'dec'
            )
        ), 0
    ),
    try_cast(regexp_extract(t, '^\d{1,4}[./-](\d{1,2})', 1) as integer)
);

-- A day, and the figures that a spreadsheet may have made it from: 2026-07-08 is 8 July and may have been
-- 7-8, 8.7 or 7.8. The text is in lower case.
create or replace temp macro day_meant(t) as
case
    when day_part(t) > 31 then concat('it may have been ', month_part(t), '.', day_part(t))
    when day_part(t) = month_part(t)
        then
            concat(
                day_part(t), ' ', month_name(month_part(t)), ' may have been ', day_part(t), '-',
                day_part(t), ' or ', day_part(t), '.', day_part(t)
            )
    when month_part(t) between 1 and 12
        then
            concat(
                day_part(t), ' ', month_name(month_part(t)), ' may have been ',
                least(day_part(t), month_part(t)), '-', greatest(day_part(t), month_part(t)), ', ',
                day_part(t), '.', month_part(t), ' or ', month_part(t), '.', day_part(t)
            )
    else
        concat(
            'it may have been ', day_part(t), '-', month_part(t), ' or ', day_part(t), '.', month_part(t)
        )
end;

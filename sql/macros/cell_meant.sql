-- What a cell may have meant that a spreadsheet turned into a day, counted as days, or that carries the
-- other decimal sign. Text for a sentence; null where nothing can be said.
create or replace temp macro cell_meant(problem, t) as
case
    when problem = 'became_day' then day_meant(lower(trim(t, ' "')))
    when problem = 'day_number'
        then day_meant(strftime(date '1899-12-30' + try_cast(try_cast(t as double) as integer), '%Y-%m-%d'))
    when problem = 'serial_day'
        then
            concat(
                date '1899-12-30' + try_cast(try_cast(trim(t) as double) as integer), ', or ',
                date '1904-01-01' + try_cast(try_cast(trim(t) as double) as integer),
                ' where the workbook counts its days from 1904'
            )
    when problem = 'other_decimal_sign' then translate(trim(t, ' "'), '.,', ',.')
end;

-- How many cells of a row were written in a way that has its own mend. Grain: row_id.
with cells as (
    select
        problems.row_id,
        problems.problem
    from staged.problems as problems
    union all
    select
        signs.row_id,
        signs.problem
    from checked.cell_signs as signs
),

counted as (
    select
        cells.row_id,
        count(*) filter (cells.problem = 'became_day') as count_became_day,
        count(*) filter (cells.problem = 'serial_day') as count_serial_day,
        count(*) filter (cells.problem = 'other_decimal_sign') as count_other_decimal_sign,
        count(*) filter (cells.problem = 'unit_written') as count_unit_written,
        count(*) filter (cells.problem = 'other_unit') as count_other_unit,
        count(*) filter (cells.problem = 'day_number') as count_day_number,
        count(*) filter (cells.problem = 'stray_characters') as count_stray_characters,
        count(*) filter (cells.problem = 'identifier_in_text') as count_identifier_in_text
    from cells
    group by cells.row_id
)

select
    rows_in_use.row_id,
    rows_in_use.sheet,
    cast(coalesce(counted.count_became_day, 0) as double) as count_became_day,
    cast(coalesce(counted.count_serial_day, 0) as double) as count_serial_day,
    cast(coalesce(counted.count_other_decimal_sign, 0) as double) as count_other_decimal_sign,
    cast(coalesce(counted.count_unit_written, 0) as double) as count_unit_written,
    cast(coalesce(counted.count_other_unit, 0) as double) as count_other_unit,
    cast(coalesce(counted.count_day_number, 0) as double) as count_day_number,
    cast(coalesce(counted.count_stray_characters, 0) as double) as count_stray_characters,
    cast(coalesce(counted.count_identifier_in_text, 0) as double) as count_identifier_in_text
from checked.row_evidence as rows_in_use
left join counted on rows_in_use.row_id = counted.row_id

-- Readings that belong to the pair, averaged. Grain: case_key, source, state, quantity.
-- A frontal angle converges (positive) or diverges by what the sheet says; unsaid, its sign is unknown.
select
    r.case_key,
    r.reading_source as achieved_source,
    r.state,
    r.quantity,
    avg(pair_value(r.quantity, r.value, r.converging)) as signed_value,
    avg(abs(r.value)) as size_value,
    avg(r.pin_length_mm) as pin_length_mm,
    count(*) as count_readings
from checked.usable_pair_readings as r
where
    r.value is not null
    and r.quantity is not null
    and r.reading_source is not null
    and r.state is not null
    and r.case_key is not null
group by r.case_key, r.reading_source, r.state, r.quantity

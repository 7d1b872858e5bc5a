-- Cases that count in this run: patients, operated within the cycle where one was chosen.
-- Grain: case_key.
select c.*
from measured.cases as c
where
    c.setting = 'patient'
    and ($cycle_from::date is null or c.surgery_date >= $cycle_from::date)
    and ($cycle_to::date is null or c.surgery_date <= $cycle_to::date)

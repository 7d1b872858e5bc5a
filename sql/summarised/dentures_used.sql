-- Dentures of the cases that count in this run, numbered by denture and by patient. Grain: denture_key.
select
    x.*,
    row_number() over (order by x.denture_key) - 1 as place,
    dense_rank() over (order by x.patient_key) - 1 as patient_place
from measured.exposure as x
inner join summarised.cases_used as c on x.case_key = c.case_key

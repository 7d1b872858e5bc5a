-- Who measured the result of a case, by code. Grain: case_key, examiner_code.
select
    i.case_key,
    i.examiner_code
from checked.usable_implants as i
where i.achieved_entry_x_mm is not null and i.examiner_code is not null
union
select
    d.case_key,
    d.examiner_code
from checked.usable_deviations as d
where d.examiner_code is not null
union
select
    c.case_key,
    c.examiner_code
from checked.usable_cast_readings as c
where c.state = 'achieved' and c.examiner_code is not null
union
select
    p.case_key,
    p.examiner_code
from checked.usable_pair_readings as p
where p.state = 'achieved' and p.examiner_code is not null
union
select
    f.case_key,
    f.examiner_code
from checked.usable_films as f
where f.state = 'achieved' and f.examiner_code is not null

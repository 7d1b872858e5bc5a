-- What was put right since the records came, how, and by which role; no name, no value of a row.
-- Grain: how.
select
    'changed in the file' as how,
    'the clinic''s file, loaded again' as role,
    count(*) as count_changes
from records.amendments as a
inner join records.loads as l on a.load_no = l.load_no
where l.status <> 'correction'
having count(*) > 0
union all
select
    d.answer as how,
    'who answers for the audit' as role,
    count(*) as count_changes
from records.decisions as d
group by d.answer

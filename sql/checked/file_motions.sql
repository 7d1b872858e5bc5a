-- Which scan the registration object of a case is for: the only one with an achieved position and without
-- any matching point. A scan with matching points is superimposed by them. Where a case stands in several
-- rows the first that serves counts: such rows are set aside until one is corrected.
-- Grain: row_id, rows of cases that name a registration object.
with used as (
    select
        p.case_key,
        p.scan,
        count(*) as count_points
    from checked.matching_points as p
    where not p.is_left_out
    group by p.case_key, p.scan
),

without_points as (
    select
        s.case_key,
        count(*) as count_scans,
        min(s.scan) as scan
    from checked.scans as s
    anti join used as u on s.case_key = u.case_key and s.scan = u.scan
    where s.has_implants
    group by s.case_key
)

select
    f.*,
    w.scan,
    coalesce(w.count_scans, 0) as count_scans,
    f.failure = ''
    and w.count_scans = 1
    and row_number() over (
        partition by f.case_key
        order by f.failure <> '', f.row_id
    ) = 1 as is_used
from staged.registration_files as f
left join without_points as w on f.case_key = w.case_key

-- Every scan that has coordinates of its own: of implants, of landmarks, or of both.
-- Grain: case_key, scan; scan_no counts them from 0.
with implants as (
    select
        i.case_key,
        coalesce(i.scan, '1') as scan,
        min(i.achieved_source) as achieved_source,
        min(i.measured_date) as measured_date
    from staged.implants as i
    where
        i.case_key is not null
        and i.achieved_frame = 'scan'
        and coalesce(i.achieved_entry_x_mm, i.achieved_apex_x_mm) is not null
    group by i.case_key, coalesce(i.scan, '1')
),

named as (
    select
        m.case_key,
        m.scan
    from checked.landmark_means as m
    where m.frame = 'scan'
    union
    select
        i.case_key,
        i.scan
    from implants as i
),

points as (
    select
        p.case_key,
        p.scan,
        count(*) filter (where p.is_left_out) as count_left_out,
        bool_or(not p.is_left_out and p.label similar to 'midline|left_pad|right_pad|crest_?[0-9]+')
            as is_on_mucosa
    from checked.matching_points as p
    group by p.case_key, p.scan
),

plans as (
    select
        c.case_key,
        min(c.plan_date) as plan_date
    from staged.cases as c
    group by c.case_key
)

select
    row_number() over (order by n.case_key, n.scan) - 1 as scan_no,
    n.case_key,
    n.scan,
    coalesce(i.achieved_source, 'unknown') as achieved_source,
    i.case_key is not null as has_implants,
    coalesce(p.count_left_out, 0) as count_left_out,
    coalesce(p.is_on_mucosa, false) as is_on_mucosa,
    date_diff('day', d.plan_date, i.measured_date) as days_between_scans
from named as n
left join implants as i on n.case_key = i.case_key and n.scan = i.scan
left join points as p on n.case_key = p.case_key and n.scan = p.scan
left join plans as d on n.case_key = d.case_key

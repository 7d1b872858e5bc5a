-- Each row of the guides sheet with the case it was made for: by its case, else by the number of the guide,
-- else by the job number. A guide with widening holes has a row for each step. Grain: row_id.
with jobs as (
    select
        n.job_no_code,
        min(n.case_key) as case_key
    from checked.usable_numbers as n
    where n.case_key is not null and n.job_no_code is not null
    group by n.job_no_code
    -- a number of two jobs leads to neither
    having count(distinct n.case_key) = 1
),

named as (
    select
        c.guide_code,
        min(c.case_key) as case_key
    from checked.usable_cases as c
    where c.guide_code is not null
    group by c.guide_code
    having count(distinct c.case_key) = 1
)

select
    coalesce(g.case_key, n.case_key, j.case_key) as slip_case_key,
    g.*
from checked.usable_guides as g
left join named as n on g.case_key is null and g.guide_code = n.guide_code
left join jobs as j on g.case_key is null and g.job_no_code = j.job_no_code

-- Each landmark once in each frame: its readings averaged. Labels are taken without regard to case and
-- with _ for a blank. Grain: case_key, frame, scan, label.
with readable as (
    select
        l.row_id,
        l.source,
        l.case_key,
        l.frame,
        case when l.frame = 'scan' then coalesce(l.scan, '1') else '' end as scan,
        lower(regexp_replace(l.label, '[ _-]+', '_', 'g')) as label,
        l.x_mm,
        l.y_mm,
        l.z_mm,
        coalesce(l.near_site, false) as is_near_site
    from staged.landmarks as l
    where
        l.case_key is not null
        and l.label is not null
        and l.frame is not null
        and l.x_mm is not null
        and l.y_mm is not null
        and l.z_mm is not null
)

select
    r.case_key,
    r.frame,
    r.scan,
    r.label,
    avg(r.x_mm) as x_mm,
    avg(r.y_mm) as y_mm,
    avg(r.z_mm) as z_mm,
    bool_or(r.is_near_site) as is_near_site,
    count(*) as count_readings,
    min(r.source) as first_source,
    list(r.row_id order by r.row_id) as row_ids
from readable as r
group by r.case_key, r.frame, r.scan, r.label

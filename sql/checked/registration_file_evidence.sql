-- What is judged about the registration objects that cases name: whether each is there, is of the right
-- kind, holds one rigid motion, and brings the implants near their plan. Each is only judged where those
-- before it passed, and all only where a scan needs the file. Null where there is nothing to judge.
-- Grain: row_id, rows of cases.
with needed as (
    select
        m.*,
        g.landing_mm,
        g.landing_turn_deg,
        g.fle_mm,
        -- the other way round explains four fifths of the way the implants are off
        case
            when g.inverse_landing_mm < g.landing_mm / 5 then g.landing_mm - g.inverse_landing_mm
            when g.landing_mm is not null then 0
        end as inverse_gain_mm
    from checked.file_motions as m
    left join checked.registrations as g
        on m.case_key = g.case_key and m.scan = g.scan and m.is_used and g.is_from_file
    where m.count_scans > 0
),

told as (
    select
        n.*,
        n.inverse_gain_mm > 2 * n.fle_mm + 1e-6 as is_inverse
    from needed as n
)

select
    t.row_id,
    cast(t.failure <> 'missing' as double) as is_file_there,
    if(t.failure = 'missing', null, cast(t.failure <> 'unreadable' as double)) as is_file_read,
    if(t.failure in ('missing', 'unreadable'), null, cast(t.failure <> 'deformable' as double))
        as is_undeformed,
    if(
        t.failure in ('missing', 'unreadable', 'deformable'), null,
        cast(t.failure <> 'other_object' as double)
    ) as is_registration,
    cast(t.count_motions as double) as count_motions,
    if(t.count_motions = 1, cast(t.failure <> 'mirrored' as double), null) as is_of_one_hand,
    if(t.count_motions = 1 and t.failure <> 'mirrored', cast(t.failure <> 'not_rigid' as double), null)
        as is_rigid,
    if(t.failure = '', cast(t.count_scans as double), null) as count_scans_without_points,
    t.inverse_gain_mm,
    if(t.is_inverse, null, t.landing_mm) as landing_mm,
    if(t.is_inverse, null, t.landing_turn_deg) as landing_turn_deg
from told as t

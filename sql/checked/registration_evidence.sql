-- What is judged about the landmarks of a case: whether each of its scans can be superimposed on the plan,
-- how well, where the implants land by it, and whether the jaw stands upright in its own landmarks.
-- The worst scan counts. Null where there is nothing to judge. Grain: case_key.
-- A mirror image, or frames named the wrong way round, is told by what it explains: half the misfit, or
-- four fifths of the way the implants are off. What it explains, beyond the error of the points, is not
-- held against the case twice. A scan that a registration object moves is judged with that object.
with explained as (
    select
        g.*,
        case when g.mirrored_fre_mm < g.fre_mm / 2 then g.fre_mm - g.mirrored_fre_mm else 0 end
            as mirror_gain_mm,
        case
            when g.inverse_landing_mm < g.landing_mm / 5 then g.landing_mm - g.inverse_landing_mm
            else 0
        end as inverse_gain_mm
    from checked.registrations as g
    where not g.is_from_file
),

with_file as (
    select distinct m.case_key
    from checked.file_motions as m
),

told as (
    select
        e.*,
        e.mirror_gain_mm > 2 * e.fle_mm + 1e-6 as is_mirrored,
        e.inverse_gain_mm > 2 * e.fle_mm + 1e-6 as is_inverse
    from explained as e
),

judged as (
    select
        t.*,
        t.refusal is null and not t.is_mirrored and not t.is_inverse as is_landed
    from told as t
),

scans as (
    select
        j.case_key,
        min(
            if(j.has_implants and w.case_key is null, cast(j.landmarks_used > 0 as double), null)
        ) as has_matching_points,
        cast(min(j.landmarks_used) filter (where j.landmarks_used > 0) as double) as count_matching_points,
        min(j.second_spread_mm) as second_spread_mm,
        min(
            case
                when j.refusal in ('axis_uncertain', 'entry_uncertain') then 0
                when j.refusal is null then 1
            end
        ) as is_certain_enough,
        max(if(j.is_mirrored, j.mirrored_fre_mm, j.fre_mm)) as misfit_mm,
        max(j.mirror_gain_mm) filter (where j.fre_mm is not null) as mirror_gain_mm,
        max(j.inverse_gain_mm) filter (where j.landing_mm is not null and not j.is_mirrored)
            as inverse_gain_mm,
        max(j.landing_mm) filter (where j.is_landed) as landing_mm,
        max(j.landing_turn_deg) filter (where j.is_landed) as landing_turn_deg
    from judged as j
    left join with_file as w on j.case_key = w.case_key
    group by j.case_key
),

files as (
    select
        l.case_key,
        min(l.source) as landmarks_source
    from staged.landmarks as l
    where l.case_key is not null
    group by l.case_key
),

implant_files as (
    select
        i.case_key,
        min(i.source) as implants_source
    from staged.implants as i
    where i.case_key is not null and i.achieved_frame = 'scan'
    group by i.case_key
),

named as (
    select
        coalesce(s.case_key, f.case_key) as case_key,
        s.* exclude (case_key),
        f.up_lean_deg
    from scans as s
    full join checked.jaw_frames as f on s.case_key = f.case_key
)

select
    n.case_key,
    if(f.landmarks_source is not null, 'landmarks', 'implants') as sheet,
    coalesce(f.landmarks_source, i.implants_source) as source,  -- noqa: RF04
    n.has_matching_points,
    n.count_matching_points,
    n.second_spread_mm,
    cast(n.is_certain_enough as double) as is_certain_enough,
    n.misfit_mm,
    n.mirror_gain_mm,
    n.inverse_gain_mm,
    n.landing_mm,
    n.landing_turn_deg,
    n.up_lean_deg
from named as n
left join files as f on n.case_key = f.case_key
left join implant_files as i on n.case_key = i.case_key
where f.landmarks_source is not null or i.implants_source is not null

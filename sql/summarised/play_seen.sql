-- The play that the lab slip allows, set against what was seen: is the deviation explained by play. Two
-- standard uncertainties are allowed for locating. What the guide did not lead, play does not bound.
-- Grain: case_key, for cases whose play is known and whose implants are measured.
with seen as (
    select
        v.case_key,
        max(v.angle_deg) as largest_angle_deg,
        max(v.apex_lateral_mm) as largest_apex_lateral_mm,
        max(v.angle_deg - 2 * v.angle_sd_deg) as least_angle_deg,
        max(v.entry_lateral_mm - 2 * v.entry_sd_mm) as least_entry_lateral_mm,
        max(v.apex_lateral_mm - 2 * v.apex_sd_mm) as least_apex_lateral_mm
    from summarised.implant_values as v
    where not v.is_deliberate_change
    group by v.case_key
    having count(v.angle_deg) = count(*)
),

judged as (
    select
        p.case_key,
        p.bounds,
        p.play,
        p.tilt_deg,
        p.entry_reach_high_mm,
        p.apex_reach_high_mm,
        s.largest_angle_deg,
        s.largest_apex_lateral_mm,
        s.least_angle_deg <= p.tilt_deg
        and coalesce(s.least_entry_lateral_mm <= p.entry_reach_high_mm, true)
        and coalesce(s.least_apex_lateral_mm <= p.apex_reach_high_mm, true) as is_within,
        s.least_angle_deg is not null as is_told
    from measured.play as p
    inner join seen as s on p.case_key = s.case_key
)

select
    j.case_key,
    j.tilt_deg,
    j.entry_reach_high_mm,
    j.apex_reach_high_mm,
    j.largest_angle_deg,
    j.largest_apex_lateral_mm,
    case
        when j.bounds = 'pilot hole' then 'not said: only the pilot drill was guided'
        when j.bounds <> 'implant' then 'not said: not known that all drills were guided'
        when j.play = 'no play by size' then 'no play by size'
        when j.play <> 'play' then 'not said: tube or drill not measured'
        when not j.is_told then 'not said: error of locating not known'
        when j.is_within then 'explained by play'
        else 'more than play can give'
    end as said
from judged as j

-- Angle between the implants and lean of the one that leans less far forward, for each denture that
-- counts. Implants do not move: a later denture of the case has those of the first. Films are for
-- screening and stay out. Grain: denture_key.
with graded as (
    select
        basis,
        achieved_source
    from reference.source_order
    where grade <> 'screening'
),

angles as (
    select
        p.case_key,
        p.achieved_angle_deg,
        p.basis || ', ' || p.achieved_source as angle_source
    from summarised.pair_values as p
    inner join graded as g on p.basis = g.basis and p.achieved_source = g.achieved_source
    where p.achieved_angle_deg is not null
),

leans as (
    select
        i.case_key,
        min(i.achieved_sagittal_tilt_deg) as lean_forward_deg,
        any_value(i.basis || ', ' || i.achieved_source) as lean_source
    from summarised.implant_values as i
    inner join graded as g on i.basis = g.basis and i.achieved_source = g.achieved_source
    group by i.case_key
    having
        count(i.achieved_sagittal_tilt_deg) = 2
        and count(distinct i.basis || ', ' || i.achieved_source) = 1
)

select
    d.denture_key,
    d.place,
    lower(trim(d.insert_grade)) as insert_grade,
    a.achieved_angle_deg,
    a.angle_source,
    l.lean_forward_deg,
    l.lean_source
from summarised.dentures_used as d
left join angles as a on d.case_key = a.case_key
left join leans as l on d.case_key = l.case_key

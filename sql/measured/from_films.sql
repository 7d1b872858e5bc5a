-- Leans read from films: screening only, never merged with coordinates. Plan and result must share film
-- kind and zero line, else the change is not given; measured against the edge of the film nothing is given
-- for one implant. Both views make the axis (tan frontal, tan sagittal, 1) and so the angle to plan. Depth,
-- entry and apex are not on a film. Grain: case_key, implant_key, achieved_source.
with leans as (
    select
        l.*,
        case when is_zero_line(l.angle_reference) then l.lean_deg end as own_lean_deg
    from measured.film_leans as l
),

views as (
    select
        s.case_key,
        s.implant_key,
        s.achieved_source,
        s.front_kind,
        s.side_kind,
        coalesce(af.side, asg.side) as side,
        coalesce(af.tooth, asg.tooth) as tooth,
        least(af.count_readings, asg.count_readings) as count_readings,
        pf.own_lean_deg as planned_frontal,
        gf.own_lean_deg as guide_frontal,
        af.own_lean_deg as achieved_frontal,
        ps.own_lean_deg as planned_sagittal,
        gs.own_lean_deg as guide_sagittal,
        asg.own_lean_deg as achieved_sagittal,
        coalesce(pf.angle_reference = af.angle_reference, false) as is_frontal_shared,
        coalesce(ps.angle_reference = asg.angle_reference, false) as is_sagittal_shared,
        coalesce(pf.angle_reference = gf.angle_reference, false)
        and coalesce(ps.angle_reference = gs.angle_reference, false) as is_guide_shared,
        coalesce(pf.lean_deg, ps.lean_deg) is not null as has_plan,
        af.angle_reference as frontal_reference,
        asg.angle_reference as sagittal_reference,
        af.lean_deg is not null as has_front,
        asg.lean_deg is not null as has_side,
        af.case_key is not null and af.lean_deg is null
        or asg.case_key is not null and asg.lean_deg is null as is_impossible,
        coalesce(af.is_corrected, true) and coalesce(asg.is_corrected, true) as is_corrected,
        coalesce(af.is_usual_size, false) or coalesce(asg.is_usual_size, false) as is_usual_size,
        af.lean_sd_deg as frontal_sd_deg,
        asg.lean_sd_deg as sagittal_sd_deg
    from measured.film_sources as s
    left join leans as af
        on
            s.case_key = af.case_key and s.implant_key = af.implant_key
            and s.front_kind = af.film_kind and af.view = 'frontal' and af.state = 'achieved'
    left join leans as asg
        on
            s.case_key = asg.case_key and s.implant_key = asg.implant_key
            and s.side_kind = asg.film_kind and asg.view = 'sagittal' and asg.state = 'achieved'
    left join leans as pf
        on
            s.case_key = pf.case_key and s.implant_key = pf.implant_key
            and s.front_kind = pf.film_kind and pf.view = 'frontal' and pf.state = 'planned'
    left join leans as ps
        on
            s.case_key = ps.case_key and s.implant_key = ps.implant_key
            and s.side_kind = ps.film_kind and ps.view = 'sagittal' and ps.state = 'planned'
    left join leans as gf
        on
            s.case_key = gf.case_key and s.implant_key = gf.implant_key
            and s.front_kind = gf.film_kind and gf.view = 'frontal' and gf.state = 'guide'
    left join leans as gs
        on
            s.case_key = gs.case_key and s.implant_key = gs.implant_key
            and s.side_kind = gs.film_kind and gs.view = 'sagittal' and gs.state = 'guide'
    where af.case_key is not null or asg.case_key is not null
)

select
    v.case_key,
    c.patient_key,
    v.implant_key,
    v.side,
    v.tooth,
    'films' as basis,
    v.achieved_source,
    'pair' as part,
    v.count_readings,
    case
        when v.is_frontal_shared and v.is_sagittal_shared
            then film_angle_deg(
                v.planned_frontal, v.planned_sagittal, v.achieved_frontal, v.achieved_sagittal
            )
    end as angle_deg,
    v.planned_frontal as planned_frontal_tilt_deg,
    v.achieved_frontal as achieved_frontal_tilt_deg,
    case when v.is_frontal_shared then v.achieved_frontal - v.planned_frontal end
        as frontal_tilt_change_deg,
    v.planned_sagittal as planned_sagittal_tilt_deg,
    v.achieved_sagittal as achieved_sagittal_tilt_deg,
    case when v.is_sagittal_shared then v.achieved_sagittal - v.planned_sagittal end
        as sagittal_tilt_change_deg,
    case
        when v.achieved_frontal is not null and v.achieved_sagittal is not null
            then sqrt(v.frontal_sd_deg ^ 2 + v.sagittal_sd_deg ^ 2)
    end as angle_sd_deg,
    case
        when v.achieved_frontal is not null and v.achieved_sagittal is not null then 'film reading'
    end as sd_basis,
    case when v.has_plan then 'record' end as planned_basis,
    case
        when v.is_guide_shared
            then film_angle_deg(
                v.planned_frontal, v.planned_sagittal, v.guide_frontal, v.guide_sagittal
            )
    end as lab_angle_deg,
    false as is_length_substituted,
    false as is_deliberate_change,
    nullif(
        concat_ws(
            ', ',
            case when is_zero_line(v.frontal_reference) then v.frontal_reference end,
            case
                when
                    is_zero_line(v.sagittal_reference)
                    and v.sagittal_reference is distinct from v.frontal_reference
                    then v.sagittal_reference
            end
        ), ''
    ) as jaw_frame_basis,
    concat_ws(
        '; ',
        'from films: screening only; no depth, no entry, no apex',
        fw.warning,
        case when v.side_kind <> v.front_kind then sw.warning end,
        case when v.front_kind is null then sw.warning end,
        case when v.is_impossible then 'scale and lean contradict each other: no lean given' end,
        case
            when
                v.has_front and not is_zero_line(v.frontal_reference)
                or v.has_side and not is_zero_line(v.sagittal_reference)
                then
                    'read against the edge of the film, or nothing is said: only differences between the'
                    || ' two implants'
        end,
        case
            when
                v.planned_frontal is not null and v.achieved_frontal is not null
                and not v.is_frontal_shared
                or v.planned_sagittal is not null and v.achieved_sagittal is not null
                and not v.is_sagittal_shared
                then 'plan and result were read against different lines: no change given'
        end,
        case
            when v.has_front <> v.has_side
                then 'one view only: the angle to plan is at least the change of lean'
        end,
        case when not v.is_corrected then 'no scale: unequal magnification is not taken out' end,
        case when v.is_usual_size then 'the pin is taken to have its usual size' end
    ) as basis_note
from views as v
inner join measured.cases as c on v.case_key = c.case_key
left join measured.film_warnings as fw on v.front_kind = fw.film_kind
left join measured.film_warnings as sw on v.side_kind = sw.film_kind

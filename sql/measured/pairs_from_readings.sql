-- Pairs known from pins, protractor, photograph or film. Grain: case_key, achieved_source.
with achieved as (
    select s.* from measured.pair_reading_states as s
    where s.state = 'achieved'
),

-- a case without a result has one row, for the source its plan was read from
wanted as (
    select
        a.case_key,
        a.achieved_source
    from achieved as a
    union all
    select distinct
        p.case_key,
        p.planned_source as achieved_source
    from measured.pair_plans as p
    anti join achieved as a on p.case_key = a.case_key
    where p.planned_source is not null
),

guides as (
    select distinct s.case_key from measured.pair_reading_states as s
    where s.state = 'guide'
),

both_states as (
    select
        w.case_key,
        w.achieved_source,
        a.count_readings,
        p.angle_deg as planned_angle_deg,
        a.angle_deg as achieved_angle_deg,
        p.frontal_convergence_deg as planned_frontal_convergence_deg,
        a.frontal_convergence_deg as achieved_frontal_convergence_deg,
        p.sagittal_difference_deg as planned_sagittal_difference_deg,
        a.sagittal_difference_deg as achieved_sagittal_difference_deg,
        p.spacing_mm as planned_spacing_mm,
        a.spacing_mm as achieved_spacing_mm,
        p.case_key is not null as has_plan,
        coalesce(p.is_axis_by_rule, false) as is_axis_by_rule,
        coalesce(p.is_spacing_by_rule, false) as is_spacing_by_rule,
        g.case_key is not null as has_guide,
        coalesce(a.is_one_plane, false) as is_one_plane,
        coalesce(a.is_sagittal_borrowed, false) as is_sagittal_borrowed,
        coalesce(a.is_from_pins and a.sagittal_difference_deg is null, false) as is_uncorrected
    from wanted as w
    left join achieved as a on w.case_key = a.case_key and w.achieved_source = a.achieved_source
    left join measured.pair_plans as p
        on w.case_key = p.case_key and w.achieved_source = p.achieved_source
    left join guides as g on w.case_key = g.case_key
)

select
    b.case_key,
    c.patient_key,
    'pair' as basis,
    b.achieved_source,
    coalesce(b.count_readings, 0) as count_readings,
    b.planned_angle_deg,
    b.achieved_angle_deg,
    b.planned_frontal_convergence_deg,
    b.achieved_frontal_convergence_deg,
    b.planned_sagittal_difference_deg,
    b.achieved_sagittal_difference_deg,
    b.planned_spacing_mm,
    b.achieved_spacing_mm,
    case
        when b.is_axis_by_rule or b.is_spacing_by_rule then 'rule'
        when b.has_plan then 'record'
    end as planned_basis,
    nullif(
        concat_ws(
            '; ',
            case
                when
                    b.is_one_plane
                    then 'one plane only: the angle is at least this, so it is not given'
            end,
            case
                when b.is_uncorrected
                    then
                        'from pins in one plane: a difference seen from the side would make it look divergent'
            end,
            case
                when b.is_sagittal_borrowed
                    then 'the difference seen from the side comes from another reading of the case'
            end,
            case when b.achieved_source = 'photo' then 'a photograph carries camera error' end,
            case
                when b.achieved_source in ('panoramic', 'pa_skull', 'lateral_skull', 'periapical')
                    then 'from a film: screening only'
            end,
            case
                when b.is_axis_by_rule
                    then
                        'planned 0 by construction hides what the lab did'
                        || case
                            when b.has_guide then '; the guide as made was read'
                            else '; a pin check of the guide would show it'
                        end
            end,
            case when b.is_spacing_by_rule then 'the planned spacing follows the clinic''s site rule' end
        ),
        ''
    ) as basis_note
from both_states as b
inner join measured.cases as c on b.case_key = c.case_key

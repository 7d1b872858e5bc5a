-- Pairs known from pins, protractor, photograph or film. A plan is a plan, whatever it was read from, so
-- it stands beside every result of its case. Grain: case_key, achieved_source.
with ranked as (
    select
        s.*,
        coalesce(o.place_in_order::integer, 99) as place_in_order
    from measured.pair_reading_states as s
    left join reference.source_order as o on o.basis = 'pair' and s.achieved_source = o.achieved_source
),

achieved as (
    select r.* from ranked as r
    where r.state = 'achieved'
),

-- the plan of a case, whatever it was read from
planned as (
    select r.* from ranked as r
    where r.state = 'planned'
    qualify row_number() over (partition by r.case_key order by r.place_in_order, r.achieved_source) = 1
),

both_states as (
    select
        coalesce(a.case_key, p.case_key) as case_key,
        coalesce(a.achieved_source, p.achieved_source) as achieved_source,
        a.count_readings,
        coalesce(q.angle_deg, p.angle_deg) as planned_angle_deg,
        a.angle_deg as achieved_angle_deg,
        coalesce(q.frontal_convergence_deg, p.frontal_convergence_deg)
            as planned_frontal_convergence_deg,
        a.frontal_convergence_deg as achieved_frontal_convergence_deg,
        coalesce(q.sagittal_difference_deg, p.sagittal_difference_deg)
            as planned_sagittal_difference_deg,
        a.sagittal_difference_deg as achieved_sagittal_difference_deg,
        coalesce(q.spacing_mm, p.spacing_mm) as planned_spacing_mm,
        a.spacing_mm as achieved_spacing_mm,
        coalesce(a.is_one_plane, false) as is_one_plane,
        coalesce(a.is_sagittal_borrowed, false) as is_sagittal_borrowed,
        coalesce(a.is_from_pins and a.sagittal_difference_deg is null, false) as is_uncorrected
    from achieved as a
    full join planned as p on a.case_key = p.case_key
    left join ranked as q
        on a.case_key = q.case_key and a.achieved_source = q.achieved_source and q.state = 'planned'
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
            end
        ),
        ''
    ) as basis_note
from both_states as b
inner join measured.cases as c on b.case_key = c.case_key

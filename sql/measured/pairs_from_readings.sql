-- Pairs known from pins, protractor, photograph or film. Grain: case_key, achieved_source.
with sources as (
    select distinct
        s.case_key,
        s.achieved_source
    from measured.pair_reading_states as s
    where s.state in ('planned', 'achieved')
),

both_states as (
    select
        k.case_key,
        k.achieved_source,
        a.count_readings,
        p.angle_deg as planned_angle_deg,
        a.angle_deg as achieved_angle_deg,
        p.frontal_convergence_deg as planned_frontal_convergence_deg,
        a.frontal_convergence_deg as achieved_frontal_convergence_deg,
        p.sagittal_difference_deg as planned_sagittal_difference_deg,
        a.sagittal_difference_deg as achieved_sagittal_difference_deg,
        p.spacing_mm as planned_spacing_mm,
        a.spacing_mm as achieved_spacing_mm,
        coalesce(a.is_one_plane, false) as is_one_plane,
        coalesce(a.is_from_pins and a.sagittal_difference_deg is null, false) as is_uncorrected
    from sources as k
    left join measured.pair_reading_states as p
        on k.case_key = p.case_key and k.achieved_source = p.achieved_source and p.state = 'planned'
    left join measured.pair_reading_states as a
        on
            k.case_key = a.case_key
            and k.achieved_source = a.achieved_source
            and a.state = 'achieved'
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

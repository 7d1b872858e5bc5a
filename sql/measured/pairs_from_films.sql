-- Pairs known from films: screening only. The zero line falls out of a difference between the two, so only
-- the change of their mean lean needs plan and result to share it. Where both shadows lie together on the
-- film from the side, mean lean and size of the difference are kept here; a size never becomes a change.
-- Grain: case_key, achieved_source.
with p as (
    select s.* from measured.film_pair_states as s
    where s.state = 'planned'
),

both_states as (
    select
        coalesce(a.case_key, p.case_key) as case_key,
        coalesce(a.achieved_source, p.achieved_source) as achieved_source,
        coalesce(a.front_kind, p.front_kind) as front_kind,
        coalesce(a.side_kind, p.side_kind) as side_kind,
        coalesce(a.count_readings, 0) as count_readings,
        coalesce(p.sagittal_reference = a.sagittal_reference, false) as is_sagittal_shared,
        p.case_key is not null as has_plan,
        p.angle_deg as planned_angle_deg,
        a.angle_deg as achieved_angle_deg,
        p.frontal_convergence_deg as planned_frontal_convergence_deg,
        a.frontal_convergence_deg as achieved_frontal_convergence_deg,
        p.sagittal_difference_deg as planned_sagittal_difference_deg,
        a.sagittal_difference_deg as achieved_sagittal_difference_deg,
        p.sagittal_difference_size_deg as planned_sagittal_difference_size_deg,
        a.sagittal_difference_size_deg as achieved_sagittal_difference_size_deg,
        p.mean_sagittal_tilt_deg as planned_mean_sagittal_tilt_deg,
        a.mean_sagittal_tilt_deg as achieved_mean_sagittal_tilt_deg,
        p.spacing_mm as planned_spacing_mm,
        a.spacing_mm as achieved_spacing_mm,
        a.angle_sd_deg,
        coalesce(a.is_corrected, p.is_corrected) as is_corrected,
        coalesce(a.frontal_convergence_deg, p.frontal_convergence_deg) is not null as has_front,
        coalesce(a.sagittal_difference_size_deg, p.sagittal_difference_size_deg) is not null as has_side,
        a.sagittal_difference_deg is null
        and coalesce(a.sagittal_difference_size_deg, a.mean_sagittal_tilt_deg) is not null
            as is_one_shadow
    from (
        select s.* from measured.film_pair_states as s
        where s.state = 'achieved'
    ) as a
    full join p
        on a.case_key = p.case_key and a.achieved_source = p.achieved_source
)

select
    b.case_key,
    c.patient_key,
    'films' as basis,
    b.achieved_source,
    b.count_readings,
    b.planned_angle_deg,
    b.achieved_angle_deg,
    b.planned_frontal_convergence_deg,
    b.achieved_frontal_convergence_deg,
    b.planned_sagittal_difference_deg,
    b.achieved_sagittal_difference_deg,
    b.planned_sagittal_difference_size_deg,
    b.achieved_sagittal_difference_size_deg,
    b.planned_mean_sagittal_tilt_deg,
    b.achieved_mean_sagittal_tilt_deg,
    case
        when b.is_sagittal_shared
            then b.achieved_mean_sagittal_tilt_deg - b.planned_mean_sagittal_tilt_deg
    end as mean_sagittal_tilt_change_deg,
    b.planned_spacing_mm,
    b.achieved_spacing_mm,
    case when b.achieved_angle_deg is not null then b.angle_sd_deg end as angle_sd_deg,
    case when b.has_plan then 'record' end as planned_basis,
    concat_ws(
        '; ',
        'from films: screening only',
        fw.warning,
        case when b.side_kind <> b.front_kind then sw.warning end,
        case when b.front_kind is null then sw.warning end,
        case
            when b.has_front <> b.has_side
                then 'one plane only: the angle is at least this, so it is not given'
        end,
        case
            when b.is_one_shadow
                then 'both shadows lie together from the side: mean lean and size of the difference only'
        end,
        case when not b.is_corrected then 'no scale: unequal magnification is not taken out' end
    ) as basis_note
from both_states as b
inner join measured.cases as c on b.case_key = c.case_key
left join measured.film_warnings as fw on b.front_kind = fw.film_kind
left join measured.film_warnings as sw on b.side_kind = sw.film_kind

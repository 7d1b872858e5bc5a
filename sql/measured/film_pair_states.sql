-- What films say of a pair, one row a state: both views joined. Both views with sides told apart give the
-- angle between the two axes; with the size of the sagittal difference alone it is
-- atan sqrt(tan^2 convergence + tan^2 difference). One view alone is a lower bound and gives no angle.
-- Grain: case_key, achieved_source, state.
with states as (
    select
        s.case_key,
        s.achieved_source,
        s.front_kind,
        s.side_kind,
        t.state
    from measured.film_pair_sources as s
    cross join (values ('planned'), ('guide'), ('achieved')) as t (state)
)

select
    s.case_key,
    s.achieved_source,
    s.state,
    s.front_kind,
    s.side_kind,
    least(f.count_readings, v.count_readings) as count_readings,
    case
        when f.left_lean_deg is not null and v.left_lean_deg is not null
            then angle_between_deg(
                -tan(radians(f.left_lean_deg)), tan(radians(v.left_lean_deg)), 1,
                tan(radians(f.right_lean_deg)), tan(radians(v.right_lean_deg)), 1
            )
        else degrees(
            atan(
                sqrt(
                    tan(radians(f.frontal_convergence_deg)) ^ 2
                    + tan(radians(v.sagittal_difference_size_deg)) ^ 2
                )
            )
        )
    end as angle_deg,
    f.frontal_convergence_deg,
    v.sagittal_difference_deg,
    v.sagittal_difference_size_deg,
    v.mean_sagittal_tilt_deg,
    f.spacing_mm,
    sqrt(f.difference_sd_deg ^ 2 + v.difference_sd_deg ^ 2) as angle_sd_deg,
    v.angle_reference as sagittal_reference,
    coalesce(f.is_corrected, true) and coalesce(v.is_corrected, true) as is_corrected
from states as s
left join measured.film_pair_views as f
    on
        s.case_key = f.case_key and s.front_kind = f.film_kind
        and f.view = 'frontal' and s.state = f.state
left join measured.film_pair_views as v
    on
        s.case_key = v.case_key and s.side_kind = v.film_kind
        and v.view = 'sagittal' and s.state = v.state
where f.case_key is not null or v.case_key is not null

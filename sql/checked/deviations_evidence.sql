-- What is judged about each row of the deviations sheet. Grain: row_id; null = not applicable.
-- Parts add up when 3-D squared is lateral squared plus depth squared; what rounding alone can
-- explain is taken off first: half a step in each of the three figures comes to at most
-- step * (1 + sqrt 2) / 2.
with
cases_known as (
    select
        case_key,
        coalesce(min(jaw), 'lower') as jaw
    from staged.cases
    group by case_key
),

keyed as (
    select
        row_id,
        plain_key(row_key) as row_key,
        hash(
            case_key, implant_key, coalesce(achieved_source, ''), coalesce(examiner_code, ''),
            coalesce(reading, 1)
        ) as key_hash
    from staged.deviations
    where case_key is not null and implant_key is not null
),

shared_keys as (
    select
        key_hash,
        count(*) as count_rows
    from keyed
    group by key_hash
    having min(row_key) <> max(row_key)
),

shared_rows as (
    select
        keyed.row_id,
        shared_keys.count_rows
    from keyed
    inner join shared_keys on keyed.key_hash = shared_keys.key_hash
),

seen as (
    select
        deviations.*,
        cases_known.jaw,
        least(
            step_written(deviations.entry_3d_mm),
            step_written(deviations.entry_lateral_mm),
            step_written(deviations.depth_mm)
        ) as step_mm,
        abs(
            deviations.entry_3d_mm
            - sqrt(deviations.entry_lateral_mm ^ 2 + deviations.depth_mm ^ 2)
        ) as parts_off_mm
    from staged.deviations as deviations
    left join cases_known on deviations.case_key = cases_known.case_key
)

select
    seen.row_id,
    cast(seen.side is not null as double) as is_site_given,
    cast(side_of(seen.tooth) = seen.side as double) as is_tooth_on_side,
    cast(
        case
            when seen.jaw is null then null
            when regexp_full_match(seen.tooth, '[1-4][1-8]')
                then (left(seen.tooth, 1) in ('1', '2')) = (seen.jaw = 'upper')
        end as double
    ) as is_tooth_in_jaw,
    cast(
        if(seen.implant_key is null, null, coalesce(shared_rows.count_rows, 1)) as double
    ) as count_rows_at_key,
    seen.entry_3d_mm,
    seen.entry_lateral_mm,
    seen.depth_mm,
    seen.apex_3d_mm,
    seen.apex_lateral_mm,
    seen.angle_deg,
    seen.mesial_mm,
    seen.facial_mm,
    seen.frontal_tilt_change_deg,
    seen.sagittal_tilt_change_deg,
    seen.planned_length_mm,
    case
        when isfinite(seen.parts_off_mm)
            then round(greatest(seen.parts_off_mm - seen.step_mm * (1 + sqrt(2)) / 2, 0), 6)
    end as parts_off_mm,
    case
        when
            cast(seen.entry_3d_mm is not null as integer)
            + cast(seen.apex_3d_mm is not null as integer)
            + cast(seen.angle_deg is not null as integer)
            >= 2
            then greatest(
                abs(seen.entry_3d_mm), abs(seen.apex_3d_mm), abs(seen.angle_deg)
            )
    end as largest_figure,
    cast(seen.reading as double) as reading
from seen
left join shared_rows on seen.row_id = shared_rows.row_id

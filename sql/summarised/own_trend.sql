-- What each of a trainee's own cases came to, in the order of the cases; an implant a row, or the
-- pair. Grain: trainee_code, setting, case_key, measure, side.
with of_implants as (
    select
        t.trainee_code,
        t.setting,
        t.case_key,
        t.case_number,
        t.is_taken_over,
        i.side,
        i.is_deliberate_change,
        i.basis || ', ' || i.achieved_source as sources,
        unnest(
            [
                row('entry_3d_mm', i.entry_3d_mm),
                row('angle_deg', i.angle_deg),
                row('depth_mm', i.depth_mm),
                row('sagittal_tilt_change_deg', i.sagittal_tilt_change_deg)
            ]::struct(measure VARCHAR, value DOUBLE)[]
        ) as figure
    from summarised.trainee_cases as t
    inner join measured.implants as i on t.case_key = i.case_key
    where t.case_number is not null and i.is_preferred and i.part = 'pair'
),

of_pairs as (
    select
        t.trainee_code,
        t.setting,
        t.case_key,
        t.case_number,
        t.is_taken_over,
        'pair' as side,
        false as is_deliberate_change,
        p.basis || ', ' || p.achieved_source as sources,
        row('pair_rotation_deg', p.pair_rotation_deg)::struct(measure VARCHAR, value DOUBLE)
            as figure
    from summarised.trainee_cases as t
    inner join measured.pairs as p on t.case_key = p.case_key
    where t.case_number is not null and p.is_preferred
),

long as (
    select * from of_implants
    union all by name
    select * from of_pairs
)

select
    l.trainee_code,
    l.setting,
    l.case_key,
    l.case_number,
    l.figure.measure,
    l.side,
    l.figure.value,
    l.sources,
    l.is_taken_over,
    l.is_deliberate_change
from long as l
where l.figure.value is not null

-- What was placed and how it was measured, for the implants that have a figure.
-- Words are counted; numbers are summed up. Grain: characteristic, value.
with blinding as (
    select
        u.case_key,
        u.implant_key,
        bool_and(u.blinded) as is_blinded,
        count(u.blinded) as count_said
    from checked.usable_implants as u
    where u.achieved_entry_x_mm is not null
    group by u.case_key, u.implant_key
),

ready_lengths as (
    select
        d.case_key,
        d.implant_key,
        max(d.planned_length_mm) as planned_length_mm
    from checked.usable_deviations as d
    group by d.case_key, d.implant_key
),

listed as (
    select
        v.patient_key,
        w.*
    from summarised.implant_values as v
    left join measured.labels as l
        on
            v.case_key = l.case_key and v.implant_key = l.implant_key
            and v.achieved_source = l.achieved_source and v.basis = 'coordinates'
    left join measured.axes as a
        on
            v.case_key = a.case_key and v.implant_key = a.implant_key
            and v.achieved_source = a.achieved_source and v.basis = 'coordinates'
    left join ready_lengths as r
        on v.case_key = r.case_key and v.implant_key = r.implant_key and v.basis = 'ready'
    left join blinding as b
        on v.case_key = b.case_key and v.implant_key = b.implant_key and v.basis = 'coordinates'
    cross join lateral (
        values
        ('source', 1, v.basis || ', ' || v.achieved_source, null::double),
        ('side', 2, v.side, null),
        ('tooth', 3, v.tooth, null),
        (
            'planned_length_mm', 4, null,
            coalesce(l.recorded_planned_length_mm, a.planned_length_mm, r.planned_length_mm)
        ),
        ('diameter_mm', 5, null, l.diameter_mm),
        ('guide_used', 6, v.guide_used, null),
        ('deliberate_change', 7, if(v.is_deliberate_change, 'yes', 'no'), null),
        ('planned_reference', 8, l.planned_reference, null),
        ('achieved_reference', 9, l.achieved_reference, null),
        ('jaw_frame_basis', 10, v.jaw_frame_basis, null),
        ('planned_basis', 11, v.planned_basis, null),
        ('count_readings', 12, v.count_readings::varchar, null),
        (
            'blinded', 13,
            case when b.count_said > 0 then if(b.is_blinded, 'yes', 'no') end, null
        )
    ) as w (characteristic, place_in_order, word, amount)
),

named as (
    select
        l.*,
        case
            when l.amount is not null then 'number'
            else coalesce(nullif(l.word, 'not known'), 'not recorded')
        end as value
    from listed as l
)

select
    n.characteristic,
    n.place_in_order,
    n.value,
    count(*) as count_implants,
    count(distinct n.patient_key) as count_patients,
    avg(n.amount) as mean,
    stddev_samp(n.amount) as sd,
    median(n.amount) as median,
    min(n.amount) as smallest,
    max(n.amount) as largest
from named as n
group by n.characteristic, n.place_in_order, n.value

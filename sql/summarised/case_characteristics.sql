-- Who was treated and how: the cases that are measured beside the operated ones that are not.
-- Words are counted; numbers are summed up. Grain: characteristic, value, is_measured.
with described as (
    select d.*
    from checked.usable_cases as d
    qualify row_number() over (partition by d.case_key order by d.row_id desc) = 1
),

operated as (
    select
        c.*,
        f.fate = 'measured' as is_measured
    from summarised.cases_used as c
    inner join summarised.case_fates as f on c.case_key = f.case_key
    where f.fate <> 'not operated yet'
),

listed as (
    select
        o.patient_key,
        o.is_measured,
        w.*
    from operated as o
    left join described as d on o.case_key = d.case_key
    cross join lateral (
        values
        ('jaw', 1, o.jaw, null::double),
        ('guide_method', 2, o.guide_method, null),
        ('guide_support', 3, o.guide_support, null),
        ('guidance', 4, o.guidance, null),
        ('fixation_pins', 5, d.fixation_pins::varchar, null),
        ('flap', 6, d.flap, null),
        ('stages', 7, d.stages::varchar, null),
        ('operator_level', 8, o.operator_level, null),
        ('role', 9, o.operator_role, null),
        ('film_check', 10, d.film_check, null),
        ('attachment', 11, o.attachment, null),
        ('bone_height_mm', 12, null, d.bone_height_mm),
        ('mucosa_thickness_mm', 13, null, d.mucosa_thickness_mm),
        ('ridge_reduction_mm', 14, null, d.ridge_reduction_mm)
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
    n.is_measured,
    count(*) as count_cases,
    count(distinct n.patient_key) as count_patients,
    avg(n.amount) as mean,
    stddev_samp(n.amount) as sd,
    median(n.amount) as median,
    min(n.amount) as smallest,
    max(n.amount) as largest
from named as n
group by n.characteristic, n.place_in_order, n.value, n.is_measured

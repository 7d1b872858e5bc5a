-- Lab part and clinical part of the signed numbers of each pair whose guide was read between plan and
-- result: cases that count, nothing changed on purpose. A shift to the left moves both sites of a cast the
-- same way, so it is half the difference of their distances from the midline.
-- Grain: case_key, quantity, basis, achieved_source.
with changed_on_purpose as (
    select l.case_key
    from measured.labels as l
    where l.is_deliberate_change
),

used as (
    select p.*
    from measured.guide_parts as p
    semi join summarised.cases_used as c on p.case_key = c.case_key
    anti join changed_on_purpose as d on p.case_key = d.case_key
    where p.lab_part is not null and p.clinical_part is not null
),

shifts as (
    select
        u.case_key,
        u.patient_key,
        u.basis,
        u.achieved_source,
        max(u.guide_source) as guide_source,
        'shift_left_mm' as quantity,
        sum(case when u.side = 'left' then u.lab_part else -u.lab_part end) / 2 as lab_part,
        sum(case when u.side = 'left' then u.clinical_part else -u.clinical_part end) / 2
            as clinical_part
    from used as u
    where u.quantity = 'midline_mm'
    group by u.case_key, u.patient_key, u.basis, u.achieved_source
    having count(distinct u.side) = 2 and count(*) = 2
),

modes as (
    select
        u.case_key,
        u.patient_key,
        u.basis,
        u.achieved_source,
        u.guide_source,
        u.quantity,
        u.lab_part,
        u.clinical_part
    from used as u
    where u.side is null
    union all by name
    select s.* from shifts as s
),

-- which repeated reading tells the error of a number, and how often it stands in it
told_by as (
    select t.*
    from (
        values
        ('pair', 'frontal_convergence_deg', 'frontal_angle_deg', 1.0),
        ('pair', 'sagittal_difference_deg', 'sagittal_angle_deg', 1.0),
        ('pair', 'spacing_mm', 'entry_spacing_mm', 1.0),
        ('cast', 'spacing_mm', 'midline_mm', sqrt(2)),
        ('cast', 'shift_left_mm', 'midline_mm', sqrt(0.5))
    ) as t (basis, quantity, read_as, factor)
),

reading_sds as (
    select
        t.basis,
        t.quantity,
        r.achieved_source,
        t.factor * r.within_sd as sd
    from told_by as t
    inner join measured.repeatability as r
        on t.basis = r.basis and t.read_as = r.quantity and r.examiner = 'all' and r.is_enough
)

select
    m.case_key,
    m.patient_key,
    m.basis,
    m.achieved_source,
    m.guide_source,
    m.quantity,
    m.lab_part,
    m.clinical_part,
    g.sd as guide_reading_sd,
    a.sd as result_reading_sd
from modes as m
left join reading_sds as g
    on m.basis = g.basis and m.quantity = g.quantity and m.guide_source = g.achieved_source
left join reading_sds as a
    on m.basis = a.basis and m.quantity = a.quantity and m.achieved_source = a.achieved_source

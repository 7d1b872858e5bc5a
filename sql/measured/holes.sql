-- The hole that guided the drill, case by case: from the lab slip of the surgical guide (its last step),
-- where it says so, else from the cases sheet. A slip is found by its case, else by the number of the
-- guide, else by the job number. to_entry: from the lower end of the hole to the entry; with the mucosa
-- raised under the guide it is the distance to the tissue alone. Grain: case_key.
with jobs as (
    select distinct
        n.case_key,
        n.job_no_code
    from checked.usable_numbers as n
    where n.case_key is not null and n.job_no_code is not null
),

described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

slips as (
    select
        coalesce(g.case_key, c.case_key, j.case_key) as slip_case_key,
        g.*
    from checked.usable_guides as g
    left join described as c on g.case_key is null and g.guide_code = c.guide_code
    left join jobs as j on g.case_key is null and g.job_no_code = j.job_no_code
    where coalesce(g.kind, 'surgical') = 'surgical' and coalesce(g.used, '') <> 'abandoned'
),

last_step as (
    select s.* from slips as s
    where s.slip_case_key is not null
    qualify
        row_number() over (
            partition by s.slip_case_key
            order by
                s.hole_diameter_mm is not null desc, s.step desc nulls last,
                s.made_date desc nulls last, s.row_id desc
        ) = 1
),

lengths as (
    select
        l.case_key,
        max(coalesce(l.recorded_placed_length_mm, l.recorded_planned_length_mm)) as length_mm,
        max(l.diameter_mm) as diameter_mm
    from measured.labels as l
    group by l.case_key
),

joined as (
    select
        c.case_key,
        c.patient_key,
        c.guidance,
        s.hole_diameter_mm is not null as is_from_slip,
        coalesce(s.hole_diameter_mm, d.sleeve_bore_mm) as bore_mm,
        coalesce(s.hole_length_mm, d.sleeve_length_mm) as hole_length_mm,
        coalesce(s.drill_diameter_mm, d.drill_diameter_mm) as drill_mm,
        coalesce(s.largest_drill_guided_mm, d.largest_drill_guided_mm) as largest_drill_guided_mm,
        s.hole_to_tissue_mm,
        d.sleeve_to_entry_mm,
        case when d.flap = 'flap' then 0 else d.mucosa_thickness_mm end as tissue_mm,
        l.length_mm as implant_length_mm,
        l.diameter_mm as implant_diameter_mm
    from measured.cases as c
    left join described as d on c.case_key = d.case_key
    left join last_step as s on c.case_key = s.slip_case_key
    left join lengths as l on c.case_key = l.case_key
)

select
    j.case_key,
    j.patient_key,
    j.guidance,
    j.is_from_slip,
    j.bore_mm,
    j.hole_length_mm,
    j.drill_mm,
    j.largest_drill_guided_mm,
    coalesce(
        j.sleeve_to_entry_mm, j.hole_to_tissue_mm + coalesce(j.tissue_mm, b.low_mm::double)
    ) as to_entry_low_mm,
    coalesce(
        j.sleeve_to_entry_mm, j.hole_to_tissue_mm + coalesce(j.tissue_mm, b.high_mm::double)
    ) as to_entry_high_mm,
    j.sleeve_to_entry_mm is null and j.tissue_mm is null and j.hole_to_tissue_mm is not null
        as is_tissue_assumed,
    j.implant_length_mm,
    j.implant_diameter_mm
from joined as j
cross join reference.mucosa_band as b
where j.bore_mm is not null or j.drill_mm is not null

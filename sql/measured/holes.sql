-- The hole that guided the drill, case by case: from the lab slip of the surgical guide (its last step),
-- where it says so, else from the cases sheet. to_entry: from the lower end of the hole to the entry;
-- with the mucosa raised under the guide it is the distance to the tissue alone. Grain: case_key.
with described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

last_step as (
    select s.* from checked.usable_guides as s
    where
        s.case_key is not null
        and coalesce(s.kind, 'surgical') = 'surgical'
        and coalesce(s.used, '') <> 'abandoned'
    qualify
        row_number() over (
            partition by s.case_key
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
    left join last_step as s on c.case_key = s.case_key
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

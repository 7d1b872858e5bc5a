-- What is scored for its causes, a case at a time: the ten numbers of its pair with what locating the
-- implants adds to them, three numbers of the guide as made, the groups that a case shares with others.
-- Where there are no coordinates but a reading of the pair, its two leans against each other stand alone;
-- their error, and that of a reading of the guide, is the published floor. Films are for screening and
-- stay out. Grain: case_key.
with floors as (
    select
        max(f.floor::double) filter (f.measure_kind = 'distance') as place_mm,
        max(f.floor::double) filter (f.measure_kind = 'angle') as angle_deg
    from reference.method_floor as f
),

readings as (
    select p.*
    from measured.pairs as p
    where p.is_preferred and p.basis = 'pair'
),

guides as (
    select
        g.case_key,
        arg_min(g.lab_spacing_mm, o.place_in_order::integer) as guide_spacing_mm,
        arg_min(g.lab_frontal_convergence_deg, o.place_in_order::integer) as guide_convergence_deg,
        arg_min(g.lab_sagittal_difference_deg, o.place_in_order::integer) as guide_sagittal_deg
    from measured.guide_pairs as g
    inner join reference.source_order as o
        on g.basis = o.basis and g.achieved_source = o.achieved_source and o.grade <> 'screening'
    group by g.case_key
),

sites as (
    select
        v.case_key,
        string_agg(v.tooth, '/' order by v.tooth) as site,
        bool_or(v.is_deliberate_change) as is_deliberate_change
    from summarised.implant_values as v
    group by v.case_key
)

select
    c.case_key,
    c.patient_key,
    c.jaw,
    c.surgery_date,
    c.guidance,
    coalesce(m.basis, r.basis) as basis,
    coalesce(m.achieved_source, r.achieved_source) as achieved_source,
    coalesce(m.is_deliberate_change, s.is_deliberate_change, false) as is_deliberate_change,
    c.count_held_rows,
    m.shift_left_mm,
    m.shift_back_mm,
    m.shift_up_mm,
    m.roll_deg,
    m.pitch_deg,
    m.yaw_deg,
    m.spacing_mm,
    coalesce(m.frontal_convergence_deg, r.frontal_convergence_change_deg) as frontal_convergence_deg,
    coalesce(m.sagittal_difference_deg, r.sagittal_difference_change_deg)
        as sagittal_difference_deg,
    m.contradiction_deg,
    g.guide_spacing_mm,
    g.guide_convergence_deg,
    g.guide_sagittal_deg,
    m.place_reading_sd_mm,
    m.lean_reading_sd_deg,
    m.shift_left_sd_mm,
    m.shift_back_sd_mm,
    m.shift_up_sd_mm,
    m.roll_sd_deg,
    m.pitch_sd_deg,
    m.yaw_sd_deg,
    case when m.case_key is null then coalesce(r.angle_sd_deg, f.angle_deg) end as pair_lean_sd_deg,
    f.place_mm as guide_spacing_sd_mm,
    f.angle_deg as guide_lean_sd_deg,
    m.planned_length_mm,
    m.planned_spacing_mm,
    h.to_entry_high_mm + h.hole_length_mm / 2 as hole_above_entry_mm,
    c.guide_lab_code,
    l.material_lot,
    c.operator_code,
    s.site
from summarised.cases_used as c
cross join floors as f
left join summarised.motion_values as m on c.case_key = m.case_key
left join readings as r on c.case_key = r.case_key and m.case_key is null
left join guides as g on c.case_key = g.case_key
left join measured.holes as h on c.case_key = h.case_key
left join summarised.wear_of_cases as l on c.case_key = l.case_key
left join sites as s on c.case_key = s.case_key
where c.has_achieved

-- Shift of the site on the cast: toward the midline and forward. Depth, apex and angle are not on a cast.
-- Grain: case_key, implant_key (the side), achieved_source.
with both_states as (
    select
        a.case_key,
        a.side,
        a.achieved_source,
        a.count_readings,
        p.midline_mm - a.midline_mm as mesial_mm,
        a.crest_offset_mm - p.crest_offset_mm as facial_mm,
        coalesce(a.midline_how <> p.midline_how, false) as is_measured_two_ways,
        sqrt(a.reading_sd_mm ^ 2 + p.reading_sd_mm ^ 2) as reading_sd_mm
    from measured.cast_sites as a
    inner join measured.cast_sites as p
        on
            a.case_key = p.case_key
            and a.side = p.side
            and a.achieved_source = p.achieved_source
            and p.state = 'planned'
    where a.state = 'achieved'
)

select
    b.case_key,
    c.patient_key,
    b.side as implant_key,
    b.side,
    'cast' as basis,
    b.achieved_source,
    'pair' as part,
    b.count_readings,
    case when not b.is_measured_two_ways then b.mesial_mm end as mesial_mm,
    b.facial_mm,
    b.reading_sd_mm as entry_sd_mm,
    case when b.reading_sd_mm is not null then 'resolution' end as sd_basis,
    false as is_length_substituted,
    false as is_deliberate_change,
    concat_ws(
        '; ',
        'measured on the cast: no depth, no apex, no angle; an error in marking the midline shifts both'
        || ' sites the same way',
        case
            when b.is_measured_two_ways
                then
                    'plan and result were measured in two ways (across, from a point): no shift given'
        end
    ) as basis_note
from both_states as b
inner join measured.cases as c on b.case_key = c.case_key
where coalesce(case when not b.is_measured_two_ways then b.mesial_mm end, b.facial_mm) is not null

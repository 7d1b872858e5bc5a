-- Shift of the site on the cast: toward the midline and forward. Depth, apex and angle are not on a cast.
-- Measured from the midline mark and the crest where these were read; else from the distances to both
-- retromolar pads, which need no mark. Grain: case_key, implant_key (the side), achieved_source.
with both_states as (
    select
        a.case_key,
        a.side,
        a.achieved_source,
        a.count_readings,
        p.midline_mm - a.midline_mm as midline_shift_mm,
        (pp.x_mm - pa.x_mm) * case when a.side = 'left' then 1 else -1 end as pad_shift_mm,
        a.crest_offset_mm - p.crest_offset_mm as crest_shift_mm,
        pa.forward_mm - pp.forward_mm as pad_forward_shift_mm,
        coalesce(a.midline_how <> p.midline_how, false) as is_measured_two_ways,
        p.is_by_rule,
        coalesce(r.within_sd / sqrt(a.count_readings) > coalesce(a.reading_sd_mm, 0), false)
            as is_from_repeats,
        greatest(a.reading_sd_mm, r.within_sd / sqrt(a.count_readings)) as achieved_sd_mm,
        case
            when p.is_by_rule then 0
            else greatest(p.reading_sd_mm, r.within_sd / sqrt(p.count_readings))
        end as planned_sd_mm,
        sqrt(pa.x_sd_mm ^ 2 + pp.x_sd_mm ^ 2) as pad_sd_mm
    from measured.cast_sites as a
    inner join measured.cast_sites as p
        on
            a.case_key = p.case_key
            and a.side = p.side
            and a.achieved_source = p.achieved_source
            and p.state = 'planned'
    left join measured.pad_sites as pa
        on
            a.case_key = pa.case_key and a.side = pa.side
            and a.achieved_source = pa.achieved_source and pa.state = 'achieved'
    left join measured.pad_sites as pp
        on
            a.case_key = pp.case_key and a.side = pp.side
            and a.achieved_source = pp.achieved_source and pp.state = 'planned'
    left join measured.repeatability as r
        on
            r.basis = 'cast' and a.achieved_source = r.achieved_source
            and r.quantity = 'midline_mm' and r.examiner = 'all' and r.is_enough
    where a.state = 'achieved'
),

shifted as (
    select
        b.*,
        case when not b.is_measured_two_ways then b.midline_shift_mm end as mark_shift_mm,
        coalesce(
            case when not b.is_measured_two_ways then b.midline_shift_mm end, b.pad_shift_mm
        ) as mesial_mm,
        coalesce(b.crest_shift_mm, b.pad_forward_shift_mm) as facial_mm,
        sqrt(b.achieved_sd_mm ^ 2 + b.planned_sd_mm ^ 2) as mark_sd_mm
    from both_states as b
)

select
    s.case_key,
    c.patient_key,
    s.side as implant_key,
    s.side,
    'cast' as basis,
    s.achieved_source,
    'pair' as part,
    s.count_readings,
    s.mesial_mm,
    s.facial_mm,
    case
        when s.mark_shift_mm is null and s.pad_shift_mm is not null then s.pad_sd_mm
        else s.mark_sd_mm
    end as entry_sd_mm,
    case
        when s.mark_shift_mm is null and s.pad_shift_mm is not null
            then case when s.pad_sd_mm is not null then 'resolution' end
        when s.mark_sd_mm is not null and s.is_from_repeats then 'repeats'
        when s.mark_sd_mm is not null then 'resolution'
    end as sd_basis,
    case when s.is_by_rule then 'rule' else 'record' end as planned_basis,
    false as is_length_substituted,
    false as is_deliberate_change,
    concat_ws(
        '; ',
        'measured on the cast: no depth, no apex, no angle',
        case
            when s.mark_shift_mm is not null
                then 'an error in marking the midline shifts both sites the same way'
        end,
        case
            when s.mark_shift_mm is null and s.pad_shift_mm is not null
                then 'toward the midline: from the distances to both retromolar pads'
        end,
        case
            when s.crest_shift_mm is null and s.pad_forward_shift_mm is not null
                then
                    'forward: from the distances to both retromolar pads, good for the change, not for the'
                    || ' place itself'
        end,
        case
            when s.is_measured_two_ways
                then
                    'plan and result were measured in two ways (across, from a point): no shift from the'
                    || ' midline mark'
        end,
        case when s.is_by_rule then 'the plan follows the clinic''s site rule' end
    ) as basis_note
from shifted as s
inner join measured.cases as c on s.case_key = c.case_key
where coalesce(s.mesial_mm, s.facial_mm) is not null

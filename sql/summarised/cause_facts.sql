-- What other records than the positions say for or against a cause; the names are those of
-- reference/cause_facts.csv, which says what each speaks for. Grain: case_key, fact.
with described as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

left_aside as (
    select l.case_key
    from measured.labels as l
    where l.guide_used in ('abandoned', 'partly')
    group by l.case_key
),

known as (
    select
        c.case_key,
        c.guidance,
        c.guide_support,
        coalesce(s.fixation_pins, d.fixation_pins) as fixation_pins,
        s.fit,
        s.seat_rechecked_after_pins,
        coalesce(s.used = 'abandoned', false) or a.case_key is not null as is_left_aside,
        coalesce(d.ridge_reduction_mm > 0, false) as is_levelled,
        p.said
    from summarised.cases_used as c
    left join described as d on c.case_key = d.case_key
    left join measured.guides_used as s on c.case_key = s.case_key
    left join left_aside as a on c.case_key = a.case_key
    left join summarised.play_seen as p on c.case_key = p.case_key
    where c.has_achieved
),

facts as (
    select
        k.case_key,
        unnest(
            [
                case k.guidance
                    when 'full' then 'all_drills_guided'
                    when 'half' then 'some_drills_by_hand'
                    when 'pilot' then 'pilot_only'
                    when 'freehand' then 'no_guide'
                    when 'dynamic' then 'no_guide'
                    when 'robotic' then 'no_guide'
                end,
                case k.fit
                    when 'full' then 'guide_fitted'
                    when 'rocks' then 'guide_rocked'
                    when 'gap' then 'guide_gap'
                end,
                case when k.fixation_pins > 0 then 'guide_pinned' end,
                case
                    when k.fixation_pins = 0 and k.guide_support = 'mucosa' then 'mucosa_not_pinned'
                end,
                case when k.seat_rechecked_after_pins then 'seat_rechecked' end,
                case when k.is_left_aside then 'guide_left_aside' end,
                case when k.is_levelled then 'ridge_levelled' end,
                case k.said
                    when 'explained by play' then 'within_play'
                    when 'more than play can give' then 'beyond_play'
                    when 'no play by size' then 'no_play_by_size'
                end
            ]
        ) as fact
    from known as k
)

select
    f.case_key,
    f.fact
from facts as f
where f.fact is not null

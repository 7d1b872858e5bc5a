-- Each question of room and of the line through both implants, case by case: figure, plan, limit.
-- Room: middle and distal, in mm left for a later implant, at least the limit. Line: how far forward and how
-- skewed, against the case's own plan; slack_mm is what it may fall back, or one end of it alone (then the
-- skew is atan(slack / spacing)). Sites: distance from the midline against the clinic's site rule.
-- From the best record of the pair that holds the figure; films are for screening and left out.
-- Grain: case_key, question.
with pairs as (
    select
        p.*,
        coalesce(o.place_in_order::integer, 99) as place_in_order
    from measured.pairs as p
    inner join summarised.cases_used as c on p.case_key = c.case_key
    left join reference.source_order as o
        on p.basis = o.basis and p.achieved_source = o.achieved_source
    where coalesce(o.grade <> 'screening', true)
),

asked as (
    select
        p.case_key,
        p.patient_key,
        p.basis,
        p.achieved_source,
        p.is_preferred,
        p.place_in_order,
        unnest(
            [
                'middle', 'left_distal', 'right_distal', 'spacing', 'forward', 'skew', 'left_site',
                'right_site'
            ]
        ) as question,
        unnest(
            [
                p.middle_gap_mm, p.left_distal_room_mm, p.right_distal_room_mm, p.achieved_spacing_mm,
                p.fulcrum_forward_mm, p.fulcrum_skew_deg, p.left_midline_mm, p.right_midline_mm
            ]
        ) as achieved,
        unnest(
            [
                p.planned_middle_gap_mm, p.planned_left_distal_room_mm, p.planned_right_distal_room_mm,
                p.planned_spacing_mm, p.planned_fulcrum_forward_mm, p.planned_fulcrum_skew_deg,
                p.planned_left_midline_mm, p.planned_right_midline_mm
            ]
        ) as planned,
        unnest(
            [
                $gap_mm, $distal_room_mm, $distal_room_mm, $widest_spacing_mm,
                p.planned_fulcrum_forward_mm - $slack_mm,
                degrees(atan($slack_mm / p.planned_spacing_mm)),
                $site_rule_mm::double, $site_rule_mm::double
            ]
        ) as limit_value
    from pairs as p
),

one_each as (
    select a.*
    from asked as a
    where a.achieved is not null and a.limit_value is not null
    qualify
        row_number() over (
            partition by a.case_key, a.question
            order by
                a.is_preferred desc, a.planned is not null desc, a.place_in_order asc, a.basis asc,
                a.achieved_source asc
        ) = 1
),

-- what a figure may be short of its limit through rounding alone: 14 mm and 4.0 leave 3.0 exactly
judged as (
    select
        o.*,
        case
            when o.question in ('middle', 'left_distal', 'right_distal', 'forward')
                then o.achieved - o.limit_value
            when o.question = 'spacing' then o.limit_value - o.achieved
            when o.question = 'skew' then o.limit_value - abs(o.achieved - o.planned)
            else $slack_mm - abs(o.achieved - o.limit_value)
        end as to_spare,
        case
            when o.question in ('middle', 'left_distal', 'right_distal')
                then o.planned - o.limit_value
            when o.question = 'spacing' then o.limit_value - o.planned
            when o.question in ('left_site', 'right_site')
                then $slack_mm - abs(o.planned - o.limit_value)
        end as planned_to_spare
    from one_each as o
)

select
    j.case_key,
    j.patient_key,
    j.question,
    j.basis,
    j.achieved_source,
    j.planned,
    j.achieved,
    j.achieved - j.planned as change_from_plan,
    j.limit_value,
    case when j.question in ('forward', 'skew', 'left_site', 'right_site') then $slack_mm end as slack_mm,
    round(j.to_spare, 6) >= 0 as is_met,
    round(j.planned_to_spare, 6) >= 0 as is_met_as_planned
from judged as j
where j.to_spare is not null

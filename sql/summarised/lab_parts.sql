-- Lab part of each guide: what the guide as made is off its plan, a signed quantity at a time; angles without
-- sign have none. One source a guide and quantity, the best there is. What the surgery added is not here.
-- Grain: lab_code, guide_code, case_key, quantity, side.
select
    g.lab_code,
    g.guide_code,
    g.case_key,
    p.quantity,
    p.side,
    p.basis || ', ' || coalesce(p.guide_source, p.achieved_source) as source_words,
    g.material_lot,
    p.lab_part,
    p.planned_basis
from summarised.lab_guides as g
inner join measured.guide_parts as p on g.case_key = p.case_key
left join reference.source_order as o
    on p.basis = o.basis and p.guide_source = o.achieved_source
where g.is_used and p.lab_part is not null
qualify
    row_number() over (
        partition by g.case_key, p.quantity, p.side
        order by
            coalesce(o.grade = 'screening', false) asc, coalesce(o.place_in_order::integer, 99) asc,
            p.basis asc, p.achieved_source asc
    ) = 1

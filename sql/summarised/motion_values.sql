-- The ten numbers of each pair that counts, from its best source, with its case's groups; pairs whose
-- implants departed from the plan on purpose are kept apart by their flag. Grain: case_key.
with placed as (
    select
        m.*,
        row_number() over (
            partition by m.case_key
            order by
                m.rigid_mm2 is not null desc, coalesce(o.place_in_order::integer, 99) asc,
                m.achieved_source asc
        ) as place
    from measured.common_motion as m
    left join reference.source_order as o
        on m.basis = o.basis and m.achieved_source = o.achieved_source
)

select
    p.* exclude (place),
    c.guide_method,
    c.guide_support,
    c.guidance,
    c.operator_level,
    c.jaw,
    c.surgery_date
from placed as p
inner join summarised.cases_used as c on p.case_key = c.case_key
where p.place = 1

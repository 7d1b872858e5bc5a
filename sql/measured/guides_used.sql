-- The surgical guide of each case: the last one made that was neither given up nor made again, the last step
-- of a set with widening holes. Grain: case_key.
with remade as (
    select distinct s.remake_of_code from checked.usable_guides as s
    where s.remake_of_code is not null
)

select
    s.case_key,
    s.guide_code,
    s.material_lot,
    s.used,
    s.fit,
    s.fixation_pins,
    s.seat_rechecked_after_pins
from checked.usable_guides as s
left join remade as r on s.guide_code = r.remake_of_code
where s.case_key is not null and coalesce(s.kind, 'surgical') = 'surgical'
qualify
    row_number() over (
        partition by s.case_key
        order by
            coalesce(s.used, '') = 'abandoned' asc, r.remake_of_code is null desc,
            s.made_date desc nulls last, s.step desc nulls last, s.row_id desc
    ) = 1

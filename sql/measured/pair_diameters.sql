-- Diameter of the implant on each side of a pair, as the implants sheet gives it. Grain: case_key.
select
    i.case_key,
    max(i.diameter_mm) filter (where i.side = 'left') as left_diameter_mm,
    max(i.diameter_mm) filter (where i.side = 'right') as right_diameter_mm
from checked.usable_implants as i
where i.case_key is not null and coalesce(i.part, 'pair') = 'pair'
group by i.case_key

-- Landmarks of the jaw itself, in the plan's coordinates; crest points are counted from 0 in the order of
-- their labels. Grain: case_key, kind, place.
with anatomical as (
    select
        m.*,
        case when m.label similar to 'crest_?[0-9]+' then 'crest' else m.label end as kind
    from checked.landmark_means as m
    where
        m.frame = 'plan'
        and (
            m.label in (
                'midline', 'left_pad', 'right_pad', 'plane_front', 'left_foramen', 'right_foramen'
            )
            or m.label similar to 'crest_?[0-9]+'
        )
)

select
    a.case_key,
    a.kind,
    row_number() over (partition by a.case_key, a.kind order by a.label) - 1 as place,
    a.x_mm,
    a.y_mm,
    a.z_mm,
    a.first_source,
    a.row_ids
from anatomical as a

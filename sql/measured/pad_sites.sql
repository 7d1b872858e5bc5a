-- Place of a site seen from above, from three distances on the cast: to both retromolar pads and between
-- them. The uncertainty is that of reading the three distances, by propagation; marking the pads again
-- adds its own. Grain: case_key, side, achieved_source, state.
with placed as (
    select
        s.*,
        pad_x_mm(s.left_pad_mm, s.right_pad_mm, s.between_pads_mm) as x_mm,
        pad_forward_mm2(s.left_pad_mm, s.right_pad_mm, s.between_pads_mm) as forward_mm2
    from measured.cast_sites as s
    where
        s.left_pad_mm is not null
        and s.right_pad_mm is not null
        and s.between_pads_mm is not null
)

select
    p.case_key,
    p.side,
    p.achieved_source,
    p.state,
    p.x_mm,
    sqrt(p.forward_mm2) as forward_mm,
    p.reading_sd_mm
    * sqrt(p.left_pad_mm ^ 2 + p.right_pad_mm ^ 2 + p.x_mm ^ 2)
    / p.between_pads_mm as x_sd_mm,
    p.reading_sd_mm
    * sqrt(
        (p.left_pad_mm * (1 + 2 * p.x_mm / p.between_pads_mm)) ^ 2
        + (p.right_pad_mm * (1 - 2 * p.x_mm / p.between_pads_mm)) ^ 2
        + (p.between_pads_mm / 2 - 2 * p.x_mm ^ 2 / p.between_pads_mm) ^ 2
    )
    / (2 * sqrt(p.forward_mm2)) as forward_sd_mm
from placed as p
where p.forward_mm2 > 0

-- Place of a site across the jaw from its distances to both retromolar pads, the patient's left positive,
-- 0 in the middle between the pads: x = (right^2 - left^2) / (2 between). Exact also where the site lies
-- lower than the pads, because the height falls out.
create or replace temp macro pad_x_mm(left_pad_mm, right_pad_mm, between_pads_mm) as
(right_pad_mm ^ 2 - left_pad_mm ^ 2) / nullif(2 * between_pads_mm, 0);

-- Square of a site's distance in front of the line through both pads, by Pythagoras; below 0 where the three
-- distances make no triangle. A height difference stays in it, so it serves changes, not places.
create or replace temp macro pad_forward_mm2(left_pad_mm, right_pad_mm, between_pads_mm) as
(left_pad_mm ^ 2 + right_pad_mm ^ 2) / 2
- between_pads_mm ^ 2 / 4
- pad_x_mm(left_pad_mm, right_pad_mm, between_pads_mm) ^ 2;

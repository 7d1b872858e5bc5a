-- Lean of an axis in one plane: sideways part against upright part, in degrees. Signed.
create or replace temp macro lean_deg(sideways, upright) as degrees(atan2(sideways, upright));

-- True lean of a leaning pin or implant from its film, in degrees, sign kept.
-- along = image/true length along the image of the object, across = image/true width across it. Its
-- outline is a parallelogram, so along^2 = Mh^2 sin^2 t + Mv^2 cos^2 t and along * across = Mh * Mv for the
-- magnifications Mh sideways and Mv upward; with tan(film) = tan(t) Mh/Mv that is
-- sin(2 t) = (along / across) sin(2 film), exact while the true lean t is below 45 degrees.
-- Null where scale and lean contradict each other.
create or replace temp macro film_lean_deg(film_deg, along, across) as
case
    when abs(along / nullif(across, 0) * sin(radians(2 * film_deg))) <= 1
        then degrees(asin(along / across * sin(radians(2 * film_deg))) / 2)
end;

-- Magnification sideways, Mh, from a leaning object: y = Mh^2 solves y^2 cos^2 t - across^2 y
-- + (along across sin t)^2 = 0 for the lean t on the film, the larger root. Null where it has none.
create or replace temp macro film_sideways_scale(film_deg, along, across) as
case
    when abs(along / nullif(across, 0) * sin(radians(2 * film_deg))) <= 1
        then
            across / cos(radians(film_deg))
            * sqrt((1 + sqrt(1 - (along / across * sin(radians(2 * film_deg))) ^ 2)) / 2)
end;

-- True lean from the film where both magnifications are known by themselves (a ball of known size):
-- tan(true) = tan(film) Mv / Mh.
create or replace temp macro film_ball_lean_deg(film_deg, upward, sideways) as
degrees(atan(tan(radians(film_deg)) * upward / nullif(sideways, 0)));

-- True lean where the magnification sideways comes from a known distance between two pins and the pin's
-- own length gives the magnification along it: sin(true) = along sin(film) / Mh.
create or replace temp macro film_spaced_lean_deg(film_deg, along, sideways) as
case
    when abs(along * sin(radians(film_deg)) / nullif(sideways, 0)) <= 1
        then degrees(asin(along * sin(radians(film_deg)) / sideways))
end;

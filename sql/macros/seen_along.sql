-- Magnification along an object, with its length taken as the share of it that lies in the film's plane;
-- a ball has no length to shorten.
create or replace temp macro seen_along(scale_gives, along, lean_deg, other_lean_deg) as
case
    when scale_gives = 'upright' or lean_deg is null or other_lean_deg is null then along
    else along / share_in_film(lean_deg, other_lean_deg)
end;

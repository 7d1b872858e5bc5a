-- True lean by what the object of known size gives: leaning (a pin or implant, along and across its
-- image), upright (a ball: upward and sideways), sideways (the distance between two pins, with the pin
-- itself along). The film's own lean where no scale is known: equal magnification turns nothing.
create or replace temp macro lean_by_scale_deg(scale_gives, film_deg, along, across) as
case
    when along is null or across is null then film_deg
    when scale_gives = 'upright' then film_ball_lean_deg(film_deg, along, across)
    when scale_gives = 'sideways' then film_spaced_lean_deg(film_deg, along, across)
    else film_lean_deg(film_deg, along, across)
end;

-- Whether a lean says something by itself: the edge of a film, or nothing said, is no zero line.
create or replace temp macro is_zero_line(angle_reference) as
coalesce(angle_reference <> 'film_edge', false);

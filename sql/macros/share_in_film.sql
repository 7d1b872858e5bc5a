-- Share of an object's length that lies in the plane of the film when it leans out of it: lean in the
-- film's plane a, lean in the other plane b: sqrt((1 + tan^2 a)/(1 + tan^2 a + tan^2 b)).
create or replace temp macro share_in_film(lean_deg, other_lean_deg) as
sqrt(
    (1 + tan(radians(lean_deg)) ^ 2)
    / (1 + tan(radians(lean_deg)) ^ 2 + tan(radians(other_lean_deg)) ^ 2)
);

-- Shortest distance from (x, y, z) to the stretch from point 1 to point 2.
create or replace temp macro axis_to_point_mm(x1, y1, z1, x2, y2, z2, x, y, z) as
distance_mm(
    x, y, z,
    x1 + (x2 - x1) * nearest_share(x1, y1, z1, x2, y2, z2, x, y, z),
    y1 + (y2 - y1) * nearest_share(x1, y1, z1, x2, y2, z2, x, y, z),
    z1 + (z2 - z1) * nearest_share(x1, y1, z1, x2, y2, z2, x, y, z)
);

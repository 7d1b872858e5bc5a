-- How far along the stretch from point 1 to point 2 it comes nearest to (x, y, z): 0 at point 1, 1 at 2.
create or replace temp macro nearest_share(x1, y1, z1, x2, y2, z2, x, y, z) as
greatest(
    0,
    least(
        1,
        along(x2 - x1, y2 - y1, z2 - z1, x - x1, y - y1, z - z1)
        / nullif(along(x2 - x1, y2 - y1, z2 - z1, x2 - x1, y2 - y1, z2 - z1), 0)
    )
);

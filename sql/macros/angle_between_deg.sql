-- Directed angle between two axes; exact also near 0 and 180 degrees. Null for a zero-length axis,
-- because axes are divided by nullif(length, 0).
create or replace temp macro angle_between_deg(ux, uy, uz, vx, vy, vz) as
degrees(
    atan2(
        sqrt((uy * vz - uz * vy) ^ 2 + (uz * vx - ux * vz) ^ 2 + (ux * vy - uy * vx) ^ 2),
        ux * vx + uy * vy + uz * vz
    )
);

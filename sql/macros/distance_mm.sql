create macro distance_mm(ax, ay, az, bx, by, bz) as
sqrt((ax - bx) ^ 2 + (ay - by) ^ 2 + (az - bz) ^ 2);

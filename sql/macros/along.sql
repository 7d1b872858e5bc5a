-- The part of (x, y, z) along the direction (a, b, c): their scalar product.
create or replace temp macro along(a, b, c, x, y, z) as a * x + b * y + c * z;

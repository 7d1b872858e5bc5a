-- The natural key of a row without the number it gets when a file holds the same key again.
create or replace temp macro plain_key(k) as
if(contains(k, '#'), regexp_replace(k, '#\d+$', ''), k);

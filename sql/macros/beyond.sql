-- What of a difference is left after what is allowed; 0 where nothing is, null where there is no value.
create or replace temp macro beyond(v, allowed) as
case when v - allowed is not null then round(greatest(v - allowed, 0), 6) end;

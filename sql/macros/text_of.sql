create or replace temp macro text_of(t) as
case when trim(t) <> '' and not is_said_missing(t) then trim(t) end;

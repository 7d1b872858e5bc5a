-- One of the allowed words, or null.
create or replace temp macro code_of(t, allowed) as
case when list_contains(allowed, lower(trim(t))) then lower(trim(t)) end;

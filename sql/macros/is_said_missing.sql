-- The cell says in words that there is no value.
create or replace temp macro is_said_missing(t) as
lower(trim(t)) in (select m.word from reference.said_missing as m);

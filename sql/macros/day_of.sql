-- A day written as ISO 8601 (a time of day after it is left out), or null.
create or replace temp macro day_of(t) as
case
    when regexp_full_match(trim(t), '\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?)?')
        then try_cast(left(trim(t), 10) as date)
end;

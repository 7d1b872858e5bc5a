create or replace temp macro yes_no_of(t) as
case
    when lower(trim(t)) in ('yes', 'y', 'true', '1') then true
    when lower(trim(t)) in ('no', 'n', 'false', '0') then false
end;

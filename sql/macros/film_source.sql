-- Name of what was read: one kind of film, or the kinds from the front and from the side.
create or replace temp macro film_source(front_kind, side_kind) as
case
    when front_kind <> side_kind then front_kind || '_and_' || side_kind
    else coalesce(front_kind, side_kind)
end;

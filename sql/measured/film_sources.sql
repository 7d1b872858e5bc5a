-- Which films of one implant are read together: each film from the front with the best film from the side;
-- a film from the side alone where there is none from the front. The name of the source is that of the
-- film, or of both. A film of both shadows together belongs to no implant and takes no part.
-- Grain: case_key, implant_key, achieved_source.
with kinds as (
    select
        l.case_key,
        l.implant_key,
        l.view,
        l.film_kind,
        bool_or(l.state = 'achieved') as has_result,
        any_value(k.place_in_order::integer) as place_in_order
    from measured.film_leans as l
    inner join reference.film_kinds as k on l.film_kind = k.film_kind
    where l.side <> 'both'
    group by l.case_key, l.implant_key, l.view, l.film_kind
    having bool_or(l.state <> 'guide')
),

fronts as (
    select k.* from kinds as k
    where k.view = 'frontal'
),

sides as (
    select k.* from kinds as k
    where k.view = 'sagittal'
),

together as (
    select
        coalesce(f.case_key, s.case_key) as case_key,
        coalesce(f.implant_key, s.implant_key) as implant_key,
        f.film_kind as front_kind,
        s.film_kind as side_kind
    from fronts as f
    full join sides as s
        on f.case_key = s.case_key and f.implant_key = s.implant_key
    qualify
        f.film_kind is null
        or row_number() over (
            partition by f.case_key, f.implant_key, f.film_kind
            order by
                s.has_result desc, s.film_kind = f.film_kind desc, s.place_in_order asc
        ) = 1
)

select
    t.case_key,
    t.implant_key,
    t.front_kind,
    t.side_kind,
    film_source(t.front_kind, t.side_kind) as achieved_source
from together as t

-- Which films of a pair are read together, as film_sources does for one implant.
-- Grain: case_key, achieved_source.
with kinds as (
    select
        v.case_key,
        v.view,
        v.film_kind,
        bool_or(v.state = 'achieved') as has_result,
        any_value(k.place_in_order::integer) as place_in_order
    from measured.film_pair_views as v
    inner join reference.film_kinds as k on v.film_kind = k.film_kind
    group by v.case_key, v.view, v.film_kind
    having bool_or(v.state <> 'guide')
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
        f.film_kind as front_kind,
        s.film_kind as side_kind
    from fronts as f
    full join sides as s
        on f.case_key = s.case_key
    qualify
        f.film_kind is null
        or row_number() over (
            partition by f.case_key, f.film_kind
            order by
                s.has_result desc, s.film_kind = f.film_kind desc, s.place_in_order asc
        ) = 1
)

select
    t.case_key,
    t.front_kind,
    t.side_kind,
    film_source(t.front_kind, t.side_kind) as achieved_source
from together as t

-- What to say beside a figure from each kind of film, with the published figure behind it.
-- Grain: film_kind.
select
    k.film_kind,
    nullif(
        replace(
            replace(k.warning, '{value}', coalesce(p.value, '')),
            '{citation}', coalesce(p.citation, '')
        ),
        ''
    ) as warning
from reference.film_kinds as k
left join reference.published_accuracy as p on k.published_key = p.key

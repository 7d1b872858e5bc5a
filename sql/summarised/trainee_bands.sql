-- The band of published means that a trainee's own measured cases may be set beside: of the set of published
-- figures for guides of their kind, where all of them are of that kind. Grain: trainee_code, measure.
with own as (
    select
        t.trainee_code,
        t.case_key,
        c.jaw,
        c.guide_support,
        c.guidance,
        c.guide_method
    from summarised.trainee_cases as t
    inner join measured.cases as c on t.case_key = c.case_key
    where t.setting = 'patient' and t.case_number is not null and t.has_achieved
),

fitting as (
    select
        o.trainee_code,
        s.comparison_set,
        s.is_provisional,
        count(*) as count_fitting
    from own as o
    inner join reference.comparison_sets as s
        on
            (s.jaw = '' or list_contains(string_split(s.jaw, '|'), o.jaw))
            and (s.guide_support = '' or list_contains(string_split(s.guide_support, '|'), o.guide_support))
            and (s.guidance = '' or list_contains(string_split(s.guidance, '|'), o.guidance))
            and (s.guide_method = '' or list_contains(string_split(s.guide_method, '|'), o.guide_method))
    group by o.trainee_code, s.comparison_set, s.is_provisional
),

cases_of as (
    select
        o.trainee_code,
        count(*) as count_cases
    from own as o
    group by o.trainee_code
),

bands as (
    select
        m.comparison_set,
        m.measure,
        min(p.value::double) as band_low,
        max(p.value::double) as band_high
    from reference.comparison_members as m
    inner join reference.published_accuracy as p on m.key = p.key
    where m.role = 'band'
    group by m.comparison_set, m.measure
)

select
    f.trainee_code,
    b.measure,
    f.comparison_set,
    b.band_low,
    b.band_high
from fitting as f
inner join cases_of as n on f.trainee_code = n.trainee_code and f.count_fitting = n.count_cases
inner join bands as b on f.comparison_set = b.comparison_set
qualify
    row_number() over (
        partition by f.trainee_code, b.measure
        order by f.is_provisional asc, f.comparison_set asc
    ) = 1

-- Own cases by the height of the lower jaw, in the classes of the index of edentulous jaws.
-- A height is rounded to a whole millimetre, as the index counts. Grain: trainee_code,
-- setting, bone_height.
select
    t.trainee_code,
    t.setting,
    coalesce(b.bone_height, 'not known') as bone_height,
    count(*) as count_cases
from summarised.trainee_cases as t
left join reference.bone_height_classes as b
    on
        round(t.bone_height_mm) >= coalesce(nullif(b.low_mm, '')::double, 0)
        and round(t.bone_height_mm) <= coalesce(nullif(b.high_mm, '')::double, 'inf'::double)
where t.case_number is not null
group by all

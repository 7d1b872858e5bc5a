-- Was the plan on file before surgery? The load log tells: the day on which the plan in use first came, as
-- the same numbers, under whatever row or file. A case counts from the last of its planned figures on; a
-- plan that was altered after surgery was not on file before it. The day of loading itself does not count
-- as before, because the log keeps no time of surgery. Grain: case_key.
with plans as (
    select
        r.row_id,
        r.load_no,
        r.case_id as case_key,
        'implants' as what,
        [
            r.planned_entry_x_mm, r.planned_entry_y_mm, r.planned_entry_z_mm, r.planned_apex_x_mm,
            r.planned_apex_y_mm, r.planned_apex_z_mm
        ] as figures,
        r.planned_mesh as named
    from records.implants as r
    where coalesce(nullif(r.planned_entry_x_mm, ''), nullif(r.planned_mesh, '')) is not null
    union all
    select
        r.row_id,
        r.load_no,
        r.case_id as case_key,
        'cast_readings' as what,
        [r.midline_mm, r.crest_offset_mm, r.left_pad_mm, r.right_pad_mm, r.between_pads_mm]
            as figures,
        r.side as named
    from records.cast_readings as r
    where lower(trim(r.state)) = 'planned'
    union all
    select
        r.row_id,
        r.load_no,
        r.case_id as case_key,
        'pair_readings' as what,
        [r.value] as figures,
        r.quantity as named
    from records.pair_readings as r
    where lower(trim(r.state)) = 'planned'
    union all
    select
        r.row_id,
        r.load_no,
        r.case_id as case_key,
        'films' as what,
        [r.tilt_deg] as figures,
        concat_ws('|', r.view, r.film_kind, r.side, r.tooth) as named
    from records.films as r
    where lower(trim(r.state)) = 'planned'
    union all
    select
        r.row_id,
        r.load_no,
        r.case_id as case_key,
        'cases' as what,
        [r.planned_pair_angle_deg] as figures,
        '' as named
    from records.cases as r
    where nullif(r.planned_pair_angle_deg, '') is not null
),

came_again as (
    select p.case_key from plans as p
    group by p.case_key
    having count(distinct p.load_no) > 1
),

dated as (
    select
        p.*,
        l.decimal_sign,
        l.loaded_at::date as loaded_date,
        a.case_key is not null as is_again
    from plans as p
    inner join records.loads as l on p.load_no = l.load_no
    left join came_again as a on p.case_key = a.case_key
),

-- numbers are read only where there is something to compare; 8 and 8.0 are the same plan
compared as (
    select
        d.*,
        list_transform(d.figures, lambda t: number_of(t, d.decimal_sign)) as numbers,  -- noqa: RF03
        lower(trim(d.named)) as plain_name
    from dated as d
    where d.is_again
),

first_came as (
    select
        d.row_id,
        d.case_key,
        min(d.loaded_date) over (partition by d.case_key, d.what, d.numbers, d.plain_name)
            as first_date
    from compared as d
    union all
    select
        d.row_id,
        d.case_key,
        d.loaded_date as first_date
    from dated as d
    where not d.is_again
),

in_use as (
    select
        f.case_key,
        max(f.first_date) as on_file_date
    from first_came as f
    anti join records.rows_not_in_use as u on f.row_id = u.row_id
    group by f.case_key
),

first_plan as (
    select
        f.case_key,
        min(f.first_date) as first_date
    from first_came as f
    group by f.case_key
)

select
    c.case_key,
    c.patient_key,
    c.surgery_date,
    i.on_file_date,
    i.on_file_date < c.surgery_date as is_before_surgery,
    i.on_file_date >= c.surgery_date and p.first_date < c.surgery_date as is_altered_after
from in_use as i
inner join first_plan as p on i.case_key = p.case_key
inner join measured.cases as c on i.case_key = c.case_key

-- Every overdenture that was delivered, from the dentures sheet, the first one also from the cases sheet.
-- Grain: case_key, denture_no.
with of_case as (
    select c.*
    from checked.usable_cases as c
    qualify row_number() over (partition by c.case_key order by c.row_id desc) = 1
),

listed as (
    select d.*
    from checked.usable_dentures as d
    where d.case_key is not null and d.denture_no is not null
    qualify row_number() over (partition by d.case_key, d.denture_no order by d.row_id desc) = 1
),

every_one as (
    select
        l.case_key,
        l.denture_no
    from listed as l
    union
    select
        c.case_key,
        1 as denture_no
    from of_case as c
    where c.delivery_date is not null
),

described as (
    select
        e.case_key,
        e.denture_no,
        c.patient_key,
        c.setting,
        c.last_observed_date,
        c.exit_status,
        coalesce(l.delivery_date, if(e.denture_no = 1, c.delivery_date, null)) as start_date,
        coalesce(l.attachment, c.attachment, 'not known') as attachment,
        coalesce(l.insert_grade, if(e.denture_no = 1, c.insert_grade, null)) as insert_grade,
        l.end_date,
        l.end_reason
    from every_one as e
    left join listed as l on e.case_key = l.case_key and e.denture_no = l.denture_no
    left join of_case as c on e.case_key = c.case_key
)

select
    d.case_key || '-' || d.denture_no as denture_key,
    d.case_key,
    coalesce(d.patient_key, d.case_key) as patient_key,
    d.denture_no,
    d.attachment,
    d.insert_grade,
    d.start_date,
    d.end_date,
    d.end_reason,
    d.last_observed_date,
    d.exit_status,
    lead(d.start_date) over of_jaw as next_start_date,
    lead(d.start_date) over of_jaw is null as is_latest
from described as d
where d.start_date is not null and coalesce(d.setting, 'patient') = 'patient'
window of_jaw as (partition by d.case_key order by d.start_date, d.denture_no)

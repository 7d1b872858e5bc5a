-- guides as received, cast; one row per row in use. A slip that names no case reaches it by
-- the number of the guide, else by the job number. Grain: row_id.
select
    r.row_id,
    l.source,
    r.row_number,
    r.row_key,
    nullif(r.guide_id, '') as guide_code,
    coalesce(nullif(r.case_id, ''), g.case_key, j.case_key) as case_key,
    nullif(r.job_no, '') as job_no_code,
    code_of(r.kind, $guides_kind) as kind,
    whole_of(r.step, l.decimal_sign) as step,
    day_of(r.made_date) as made_date,
    nullif(r.maker, '') as maker_code,
    code_of(r.maker_level, $guides_maker_level) as maker_level,
    nullif(r.lab, '') as lab_code,
    code_of(r.method, $guides_method) as method,
    text_of(r.material_lot) as material_lot,
    nullif(r.cast_id, '') as cast_code,
    yes_no_of(r.remount_marks) as remount_marks,
    yes_no_of(r.undercuts_blocked) as undercuts_blocked,
    yes_no_of(r.covers_pads) as covers_pads,
    code_of(r.hole_kind, $guides_hole_kind) as hole_kind,
    number_of(r.hole_diameter_mm, l.decimal_sign) as hole_diameter_mm,
    number_of(r.hole_length_mm, l.decimal_sign) as hole_length_mm,
    number_of(r.hole_to_tissue_mm, l.decimal_sign) as hole_to_tissue_mm,
    number_of(r.drill_diameter_mm, l.decimal_sign) as drill_diameter_mm,
    number_of(r.largest_drill_guided_mm, l.decimal_sign) as largest_drill_guided_mm,
    whole_of(r.fixation_pins, l.decimal_sign) as fixation_pins,
    code_of(r.fit, $guides_fit) as fit,
    yes_no_of(r.seat_rechecked_after_pins) as seat_rechecked_after_pins,
    code_of(r.used, $guides_used) as used,
    text_of(r.reason) as reason,
    nullif(r.remake_of, '') as remake_of_code
from records.guides as r
inner join records.loads as l on r.load_no = l.load_no
left join staged.number_cases as g on g.kind = 'guide' and r.guide_id = g.code
left join staged.number_cases as j on j.kind = 'job' and r.job_no = j.code
anti join records.rows_not_in_use as u on r.row_id = u.row_id

-- implants as received, cast; one row per row in use. Grain: row_id.
-- implant_key: the site where given, else the side where only one tooth number stands there, else the
-- tooth number. Where the six coordinates of a plan or of a result are empty and a mesh is named, they
-- are the ends of its axis.
with typed as (
    select
        r.row_id,
        l.source,
        r.row_number,
        r.row_key,
        nullif(r.case_id, '') as case_key,
        coalesce(code_of(r.side, $implants_side), side_of(text_of(r.tooth))) as side,
        text_of(r.tooth) as tooth,
        number_of(r.planned_entry_x_mm, l.decimal_sign) as planned_entry_x_mm,
        number_of(r.planned_entry_y_mm, l.decimal_sign) as planned_entry_y_mm,
        number_of(r.planned_entry_z_mm, l.decimal_sign) as planned_entry_z_mm,
        number_of(r.planned_apex_x_mm, l.decimal_sign) as planned_apex_x_mm,
        number_of(r.planned_apex_y_mm, l.decimal_sign) as planned_apex_y_mm,
        number_of(r.planned_apex_z_mm, l.decimal_sign) as planned_apex_z_mm,
        text_of(r.planned_mesh) as planned_mesh,
        number_of(r.achieved_entry_x_mm, l.decimal_sign) as achieved_entry_x_mm,
        number_of(r.achieved_entry_y_mm, l.decimal_sign) as achieved_entry_y_mm,
        number_of(r.achieved_entry_z_mm, l.decimal_sign) as achieved_entry_z_mm,
        number_of(r.achieved_apex_x_mm, l.decimal_sign) as achieved_apex_x_mm,
        number_of(r.achieved_apex_y_mm, l.decimal_sign) as achieved_apex_y_mm,
        number_of(r.achieved_apex_z_mm, l.decimal_sign) as achieved_apex_z_mm,
        text_of(r.achieved_mesh) as achieved_mesh,
        code_of(r.site, $implants_site) as site,
        code_of(r.part, $implants_part) as part,
        code_of(r.achieved_frame, $implants_achieved_frame) as achieved_frame,
        text_of(r.scan) as scan,
        code_of(r.achieved_source, $implants_achieved_source) as achieved_source,
        code_of(r.planned_reference, $implants_planned_reference) as planned_reference,
        code_of(r.achieved_reference, $implants_achieved_reference) as achieved_reference,
        number_of(r.reference_offset_mm, l.decimal_sign) as reference_offset_mm,
        number_of(r.planned_length_mm, l.decimal_sign) as planned_length_mm,
        number_of(r.placed_length_mm, l.decimal_sign) as placed_length_mm,
        number_of(r.diameter_mm, l.decimal_sign) as diameter_mm,
        day_of(r.measured_date) as measured_date,
        nullif(r.examiner, '') as examiner_code,
        yes_no_of(r.blinded) as blinded,
        whole_of(r.reading, l.decimal_sign) as reading,
        code_of(r.outcome, $implants_outcome) as outcome,
        code_of(r.guide_used, $implants_guide_used) as guide_used,
        text_of(r.deliberate_change) as deliberate_change
    from records.implants as r
    inner join records.loads as l on r.load_no = l.load_no
    anti join records.rows_not_in_use as u on r.row_id = u.row_id
)

select
    t.row_id,
    t.source,
    t.row_number,
    t.row_key,
    coalesce(
        t.site,
        case
            when
                min(t.tooth) over (partition by t.case_key, t.side) is not distinct from max(t.tooth)
                    over (partition by t.case_key, t.side)
                then t.side
            else t.tooth
        end
    ) as implant_key,
    t.case_key,
    t.side,
    t.tooth,
    if(m.has_planned_cells is false, m.planned_entry_x_mm, t.planned_entry_x_mm) as planned_entry_x_mm,
    if(m.has_planned_cells is false, m.planned_entry_y_mm, t.planned_entry_y_mm) as planned_entry_y_mm,
    if(m.has_planned_cells is false, m.planned_entry_z_mm, t.planned_entry_z_mm) as planned_entry_z_mm,
    if(m.has_planned_cells is false, m.planned_apex_x_mm, t.planned_apex_x_mm) as planned_apex_x_mm,
    if(m.has_planned_cells is false, m.planned_apex_y_mm, t.planned_apex_y_mm) as planned_apex_y_mm,
    if(m.has_planned_cells is false, m.planned_apex_z_mm, t.planned_apex_z_mm) as planned_apex_z_mm,
    t.planned_mesh,
    if(m.has_achieved_cells is false, m.achieved_entry_x_mm, t.achieved_entry_x_mm) as achieved_entry_x_mm,
    if(m.has_achieved_cells is false, m.achieved_entry_y_mm, t.achieved_entry_y_mm) as achieved_entry_y_mm,
    if(m.has_achieved_cells is false, m.achieved_entry_z_mm, t.achieved_entry_z_mm) as achieved_entry_z_mm,
    if(m.has_achieved_cells is false, m.achieved_apex_x_mm, t.achieved_apex_x_mm) as achieved_apex_x_mm,
    if(m.has_achieved_cells is false, m.achieved_apex_y_mm, t.achieved_apex_y_mm) as achieved_apex_y_mm,
    if(m.has_achieved_cells is false, m.achieved_apex_z_mm, t.achieved_apex_z_mm) as achieved_apex_z_mm,
    t.achieved_mesh,
    t.site,
    t.part,
    t.achieved_frame,
    t.scan,
    t.achieved_source,
    t.planned_reference,
    t.achieved_reference,
    t.reference_offset_mm,
    t.planned_length_mm,
    t.placed_length_mm,
    t.diameter_mm,
    t.measured_date,
    t.examiner_code,
    t.blinded,
    t.reading,
    t.outcome,
    t.guide_used,
    t.deliberate_change
from typed as t
left join staged.mesh_points as m on t.row_id = m.row_id

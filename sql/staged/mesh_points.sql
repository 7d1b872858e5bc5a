-- Entry and apex of implant bodies given as meshes: the ends of the axis fitted to each. Which end is the
-- entry is told, in this order: by the cells of the row, where it has them (the end nearer to that entry);
-- of a result in the plan's coordinates, by the planned axis, which runs the same way; else by upward, the
-- occlusal end being the entry (up in the lower jaw, down in the upper), in a plan and in a CBCT scan only,
-- because other scanners know no up. Not told where the axis lies more than 60 degrees off: null then.
-- Grain: row_id, rows that name a mesh.
with latest as (
    select f.*
    from records.mesh_fits as f
    qualify row_number() over (partition by f.file order by f.fit_no desc) = 1
),

jaws as (
    select
        c.case_key,
        min(c.jaw) as jaw
    from staged.cases as c
    group by c.case_key
),

named as (
    select
        r.row_id,
        nullif(r.case_id, '') as case_key,
        text_of(r.tooth) as tooth,
        text_of(r.planned_mesh) as planned_mesh,
        text_of(r.achieved_mesh) as achieved_mesh,
        coalesce(code_of(r.achieved_frame, $implants_achieved_frame), 'plan') = 'plan' as is_one_frame,
        code_of(r.achieved_source, $implants_achieved_source) = 'cbct' as is_cbct,
        number_of(r.planned_entry_x_mm, l.decimal_sign) as planned_entry_x_mm,
        number_of(r.planned_entry_y_mm, l.decimal_sign) as planned_entry_y_mm,
        number_of(r.planned_entry_z_mm, l.decimal_sign) as planned_entry_z_mm,
        number_of(r.planned_apex_x_mm, l.decimal_sign) as planned_apex_x_mm,
        number_of(r.planned_apex_y_mm, l.decimal_sign) as planned_apex_y_mm,
        number_of(r.planned_apex_z_mm, l.decimal_sign) as planned_apex_z_mm,
        number_of(r.achieved_entry_x_mm, l.decimal_sign) as achieved_entry_x_mm,
        number_of(r.achieved_entry_y_mm, l.decimal_sign) as achieved_entry_y_mm,
        number_of(r.achieved_entry_z_mm, l.decimal_sign) as achieved_entry_z_mm,
        number_of(r.achieved_apex_x_mm, l.decimal_sign) as achieved_apex_x_mm,
        number_of(r.achieved_apex_y_mm, l.decimal_sign) as achieved_apex_y_mm,
        number_of(r.achieved_apex_z_mm, l.decimal_sign) as achieved_apex_z_mm,
        text_of(r.planned_entry_x_mm) is not null
        or text_of(r.planned_entry_y_mm) is not null
        or text_of(r.planned_entry_z_mm) is not null
        or text_of(r.planned_apex_x_mm) is not null
        or text_of(r.planned_apex_y_mm) is not null
        or text_of(r.planned_apex_z_mm) is not null
            as has_planned_cells,
        text_of(r.achieved_entry_x_mm) is not null
        or text_of(r.achieved_entry_y_mm) is not null
        or text_of(r.achieved_entry_z_mm) is not null
        or text_of(r.achieved_apex_x_mm) is not null
        or text_of(r.achieved_apex_y_mm) is not null
        or text_of(r.achieved_apex_z_mm) is not null
            as has_achieved_cells
    from records.implants as r
    inner join records.loads as l on r.load_no = l.load_no
    anti join records.rows_not_in_use as u on r.row_id = u.row_id
    where text_of(r.planned_mesh) is not null or text_of(r.achieved_mesh) is not null
),

fitted as (
    select
        n.*,
        if(
            coalesce(j.jaw, if(n.tooth similar to '[12][1-8]', 'upper', 'lower')) = 'upper', -1, 1
        ) as upward,
        p.failure as planned_failure,
        p.radius_mm as planned_radius_mm,
        p.residual_mm as planned_residual_mm,
        p.one_x_mm as planned_one_x_mm,
        p.one_y_mm as planned_one_y_mm,
        p.one_z_mm as planned_one_z_mm,
        p.two_x_mm as planned_two_x_mm,
        p.two_y_mm as planned_two_y_mm,
        p.two_z_mm as planned_two_z_mm,
        distance_mm(
            p.one_x_mm, p.one_y_mm, p.one_z_mm, p.two_x_mm, p.two_y_mm, p.two_z_mm
        ) as planned_body_mm,
        a.failure as achieved_failure,
        a.radius_mm as achieved_radius_mm,
        a.residual_mm as achieved_residual_mm,
        a.one_x_mm as achieved_one_x_mm,
        a.one_y_mm as achieved_one_y_mm,
        a.one_z_mm as achieved_one_z_mm,
        a.two_x_mm as achieved_two_x_mm,
        a.two_y_mm as achieved_two_y_mm,
        a.two_z_mm as achieved_two_z_mm,
        distance_mm(
            a.one_x_mm, a.one_y_mm, a.one_z_mm, a.two_x_mm, a.two_y_mm, a.two_z_mm
        ) as achieved_body_mm
    from named as n
    left join latest as p on n.planned_mesh = p.file
    left join latest as a on n.achieved_mesh = a.file
    left join jaws as j on n.case_key = j.case_key
),

planned_told as (
    select
        f.*,
        case
            when f.has_planned_cells
                then
                    distance_mm(
                        f.planned_one_x_mm, f.planned_one_y_mm, f.planned_one_z_mm,
                        f.planned_entry_x_mm, f.planned_entry_y_mm, f.planned_entry_z_mm
                    ) <= distance_mm(
                        f.planned_two_x_mm, f.planned_two_y_mm, f.planned_two_z_mm,
                        f.planned_entry_x_mm, f.planned_entry_y_mm, f.planned_entry_z_mm
                    )
            when abs(f.planned_one_z_mm - f.planned_two_z_mm) >= f.planned_body_mm / 2
                then f.upward * (f.planned_one_z_mm - f.planned_two_z_mm) > 0
        end as is_planned_one_entry
    from fitted as f
),

planned as (
    select
        f.* exclude (
            planned_entry_x_mm, planned_entry_y_mm, planned_entry_z_mm,
            planned_apex_x_mm, planned_apex_y_mm, planned_apex_z_mm
        ),
        f.planned_entry_x_mm as planned_cell_entry_x_mm,
        case
            when f.is_planned_one_entry then f.planned_one_x_mm
            when not f.is_planned_one_entry then f.planned_two_x_mm
        end as planned_entry_x_mm,
        f.planned_entry_y_mm as planned_cell_entry_y_mm,
        case
            when f.is_planned_one_entry then f.planned_one_y_mm
            when not f.is_planned_one_entry then f.planned_two_y_mm
        end as planned_entry_y_mm,
        f.planned_entry_z_mm as planned_cell_entry_z_mm,
        case
            when f.is_planned_one_entry then f.planned_one_z_mm
            when not f.is_planned_one_entry then f.planned_two_z_mm
        end as planned_entry_z_mm,
        f.planned_apex_x_mm as planned_cell_apex_x_mm,
        case
            when f.is_planned_one_entry then f.planned_two_x_mm
            when not f.is_planned_one_entry then f.planned_one_x_mm
        end as planned_apex_x_mm,
        f.planned_apex_y_mm as planned_cell_apex_y_mm,
        case
            when f.is_planned_one_entry then f.planned_two_y_mm
            when not f.is_planned_one_entry then f.planned_one_y_mm
        end as planned_apex_y_mm,
        f.planned_apex_z_mm as planned_cell_apex_z_mm,
        case
            when f.is_planned_one_entry then f.planned_two_z_mm
            when not f.is_planned_one_entry then f.planned_one_z_mm
        end as planned_apex_z_mm
    from planned_told as f
),

leaning as (
    select
        f.*,
        along(
            f.achieved_two_x_mm - f.achieved_one_x_mm,
            f.achieved_two_y_mm - f.achieved_one_y_mm,
            f.achieved_two_z_mm - f.achieved_one_z_mm,
            if(
                f.has_planned_cells, f.planned_cell_apex_x_mm - f.planned_cell_entry_x_mm,
                f.planned_apex_x_mm - f.planned_entry_x_mm
            ),
            if(
                f.has_planned_cells, f.planned_cell_apex_y_mm - f.planned_cell_entry_y_mm,
                f.planned_apex_y_mm - f.planned_entry_y_mm
            ),
            if(
                f.has_planned_cells, f.planned_cell_apex_z_mm - f.planned_cell_entry_z_mm,
                f.planned_apex_z_mm - f.planned_entry_z_mm
            )
        ) / nullif(
            f.achieved_body_mm * if(
                f.has_planned_cells,
                distance_mm(
                    f.planned_cell_entry_x_mm, f.planned_cell_entry_y_mm, f.planned_cell_entry_z_mm,
                    f.planned_cell_apex_x_mm, f.planned_cell_apex_y_mm, f.planned_cell_apex_z_mm
                ),
                f.planned_body_mm
            ),
            0
        ) as cosine_to_plan
    from planned as f
),

told as (
    select
        f.*,
        case
            when f.has_achieved_cells
                then
                    distance_mm(
                        f.achieved_one_x_mm, f.achieved_one_y_mm, f.achieved_one_z_mm,
                        f.achieved_entry_x_mm, f.achieved_entry_y_mm, f.achieved_entry_z_mm
                    ) <= distance_mm(
                        f.achieved_two_x_mm, f.achieved_two_y_mm, f.achieved_two_z_mm,
                        f.achieved_entry_x_mm, f.achieved_entry_y_mm, f.achieved_entry_z_mm
                    )
            when f.is_one_frame and f.cosine_to_plan is not null
                then if(abs(f.cosine_to_plan) >= 0.5, f.cosine_to_plan > 0, null)
            when
                (f.is_one_frame or f.is_cbct)
                and abs(f.achieved_one_z_mm - f.achieved_two_z_mm) >= f.achieved_body_mm / 2
                then f.upward * (f.achieved_one_z_mm - f.achieved_two_z_mm) > 0
        end as is_achieved_one_entry
    from leaning as f
)

select
    t.row_id,
    t.planned_mesh,
    t.planned_failure,
    t.has_planned_cells,
    t.planned_radius_mm,
    t.planned_residual_mm,
    t.planned_body_mm,
    t.planned_entry_x_mm,
    t.planned_entry_y_mm,
    t.planned_entry_z_mm,
    t.planned_apex_x_mm,
    t.planned_apex_y_mm,
    t.planned_apex_z_mm,
    t.planned_cell_entry_x_mm,
    t.planned_cell_entry_y_mm,
    t.planned_cell_entry_z_mm,
    t.planned_cell_apex_x_mm,
    t.planned_cell_apex_y_mm,
    t.planned_cell_apex_z_mm,
    t.achieved_mesh,
    t.achieved_failure,
    t.has_achieved_cells,
    t.achieved_radius_mm,
    t.achieved_residual_mm,
    t.achieved_body_mm,
    case
        when t.is_achieved_one_entry then t.achieved_one_x_mm
        when not t.is_achieved_one_entry then t.achieved_two_x_mm
    end as achieved_entry_x_mm,
    case
        when t.is_achieved_one_entry then t.achieved_one_y_mm
        when not t.is_achieved_one_entry then t.achieved_two_y_mm
    end as achieved_entry_y_mm,
    case
        when t.is_achieved_one_entry then t.achieved_one_z_mm
        when not t.is_achieved_one_entry then t.achieved_two_z_mm
    end as achieved_entry_z_mm,
    case
        when t.is_achieved_one_entry then t.achieved_two_x_mm
        when not t.is_achieved_one_entry then t.achieved_one_x_mm
    end as achieved_apex_x_mm,
    case
        when t.is_achieved_one_entry then t.achieved_two_y_mm
        when not t.is_achieved_one_entry then t.achieved_one_y_mm
    end as achieved_apex_y_mm,
    case
        when t.is_achieved_one_entry then t.achieved_two_z_mm
        when not t.is_achieved_one_entry then t.achieved_one_z_mm
    end as achieved_apex_z_mm,
    t.achieved_entry_x_mm as achieved_cell_entry_x_mm,
    t.achieved_entry_y_mm as achieved_cell_entry_y_mm,
    t.achieved_entry_z_mm as achieved_cell_entry_z_mm,
    t.achieved_apex_x_mm as achieved_cell_apex_x_mm,
    t.achieved_apex_y_mm as achieved_cell_apex_y_mm,
    t.achieved_apex_z_mm as achieved_cell_apex_z_mm
from told as t

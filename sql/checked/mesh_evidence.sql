-- What is judged about the meshes that rows of implants name: whether each is there, can be read, is one
-- implant body, and shows which end is the entry. Where the row has coordinates of its own they serve, and
-- the mesh is only set against them. Null where there is nothing to judge. Grain: row_id.
select
    m.row_id,
    if(
        m.has_planned_cells or m.planned_mesh is null, null,
        cast(coalesce(m.planned_failure, 'missing') <> 'missing' as double)
    )
        as is_planned_mesh_there,
    if(m.has_planned_cells or m.planned_failure = 'missing', null, cast(m.planned_failure = '' as double))
        as is_planned_mesh_read,
    if(m.has_planned_cells, null, 100 * m.planned_residual_mm / nullif(m.planned_radius_mm, 0))
        as planned_misfit_percent,
    if(m.has_planned_cells, null, m.planned_body_mm / nullif(2 * m.planned_radius_mm, 0))
        as planned_elongation,
    if(m.has_planned_cells, null, 2 * m.planned_radius_mm) as planned_body_diameter_mm,
    if(
        m.has_planned_cells or m.planned_radius_mm is null, null,
        cast(m.planned_entry_x_mm is not null as double)
    ) as is_planned_end_told,
    case
        when m.has_planned_cells
            then
                greatest(
                    distance_mm(
                        m.planned_entry_x_mm, m.planned_entry_y_mm, m.planned_entry_z_mm,
                        m.planned_cell_entry_x_mm, m.planned_cell_entry_y_mm, m.planned_cell_entry_z_mm
                    ),
                    distance_mm(
                        m.planned_apex_x_mm, m.planned_apex_y_mm, m.planned_apex_z_mm,
                        m.planned_cell_apex_x_mm, m.planned_cell_apex_y_mm, m.planned_cell_apex_z_mm
                    )
                )
    end as planned_mesh_off_cells_mm,
    if(
        m.has_achieved_cells or m.achieved_mesh is null, null,
        cast(coalesce(m.achieved_failure, 'missing') <> 'missing' as double)
    )
        as is_achieved_mesh_there,
    if(m.has_achieved_cells or m.achieved_failure = 'missing', null, cast(m.achieved_failure = '' as double))
        as is_achieved_mesh_read,
    if(m.has_achieved_cells, null, 100 * m.achieved_residual_mm / nullif(m.achieved_radius_mm, 0))
        as achieved_misfit_percent,
    if(m.has_achieved_cells, null, m.achieved_body_mm / nullif(2 * m.achieved_radius_mm, 0))
        as achieved_elongation,
    if(m.has_achieved_cells, null, 2 * m.achieved_radius_mm) as achieved_body_diameter_mm,
    if(
        m.has_achieved_cells or m.achieved_radius_mm is null, null,
        cast(m.achieved_entry_x_mm is not null as double)
    ) as is_achieved_end_told,
    case
        when m.has_achieved_cells
            then
                greatest(
                    distance_mm(
                        m.achieved_entry_x_mm, m.achieved_entry_y_mm, m.achieved_entry_z_mm,
                        m.achieved_cell_entry_x_mm, m.achieved_cell_entry_y_mm, m.achieved_cell_entry_z_mm
                    ),
                    distance_mm(
                        m.achieved_apex_x_mm, m.achieved_apex_y_mm, m.achieved_apex_z_mm,
                        m.achieved_cell_apex_x_mm, m.achieved_cell_apex_y_mm, m.achieved_cell_apex_z_mm
                    )
                )
    end as achieved_mesh_off_cells_mm
from staged.mesh_points as m

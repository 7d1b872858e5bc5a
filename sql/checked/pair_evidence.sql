-- What is judged about the two implants of a pair, one reading of it. Grain: left_row_id,
-- right_row_id. Implants that were added later or replaced one take no part. The distance of the two
-- needs no superimposition. A result that stands exactly upright to the last digit while its plan leans
-- looks like a plan: no hand places so.
with
sides as (
    select
        implants.row_id,
        implants.source,
        implants.case_key,
        implants.row_key,
        implants.side,
        poses.planned_entry_x_mm,
        poses.planned_entry_y_mm,
        poses.planned_entry_z_mm,
        poses.achieved_entry_y_mm,
        poses.achieved_entry_z_mm,
        degrees(acos(least(abs(poses.planned_axis_z), 1))) as planned_lean_deg,
        abs(poses.achieved_axis_z) = 1 as is_achieved_upright,
        coalesce(implants.achieved_frame, 'plan') = 'plan' as is_one_frame,
        poses.achieved_entry_x_mm,
        poses.achieved_entry_x_mm - poses.planned_entry_x_mm as shift_x_mm,
        poses.achieved_entry_y_mm - poses.planned_entry_y_mm as shift_y_mm,
        poses.achieved_entry_z_mm - poses.planned_entry_z_mm as shift_z_mm,
        coalesce(implants.scan, '1') as scan,
        coalesce(implants.achieved_source, '') as achieved_source,
        coalesce(implants.examiner_code, '') as examiner_code,
        coalesce(implants.reading, 1) as reading
    from staged.implants as implants
    inner join checked.poses as poses on implants.row_id = poses.row_id
    where
        coalesce(implants.part, 'pair') = 'pair'
        and implants.case_key is not null
        and implants.side in ('left', 'right')
),

pairs as (
    select
        lefts.row_id as left_row_id,
        rights.row_id as right_row_id,
        lefts.case_key,
        lefts.source,
        concat(lefts.row_key, '|', rights.row_key) as pair_key,
        lefts.planned_entry_x_mm - rights.planned_entry_x_mm as planned_left_of_right_mm,
        case
            when lefts.is_one_frame and rights.is_one_frame
                then lefts.achieved_entry_x_mm - rights.achieved_entry_x_mm
        end as achieved_left_of_right_mm,
        distance_mm(
            lefts.planned_entry_x_mm, lefts.planned_entry_y_mm, lefts.planned_entry_z_mm,
            rights.planned_entry_x_mm, rights.planned_entry_y_mm, rights.planned_entry_z_mm
        ) as planned_spacing_mm,
        distance_mm(
            lefts.achieved_entry_x_mm, lefts.achieved_entry_y_mm, lefts.achieved_entry_z_mm,
            rights.achieved_entry_x_mm, rights.achieved_entry_y_mm, rights.achieved_entry_z_mm
        ) as achieved_spacing_mm,
        if(
            lefts.is_achieved_upright and rights.is_achieved_upright,
            greatest(lefts.planned_lean_deg, rights.planned_lean_deg), 0
        ) as lean_of_upright_result_deg,
        sqrt(
            lefts.shift_x_mm ^ 2 + lefts.shift_y_mm ^ 2 + lefts.shift_z_mm ^ 2
        ) as left_shift_mm,
        sqrt(
            rights.shift_x_mm ^ 2 + rights.shift_y_mm ^ 2 + rights.shift_z_mm ^ 2
        ) as right_shift_mm,
        lefts.shift_x_mm * rights.shift_x_mm
        + lefts.shift_y_mm * rights.shift_y_mm
        + lefts.shift_z_mm * rights.shift_z_mm as shifts_product_mm2,
        lefts.is_one_frame and rights.is_one_frame as is_one_frame
    from sides as lefts
    inner join sides as rights
        on
            lefts.case_key = rights.case_key
            and lefts.side = 'left' and rights.side = 'right'
            and lefts.scan = rights.scan
            and lefts.achieved_source = rights.achieved_source
            and lefts.examiner_code = rights.examiner_code
            and lefts.reading = rights.reading
)

select
    left_row_id,
    right_row_id,
    case_key,
    source,
    pair_key,
    planned_left_of_right_mm,
    achieved_left_of_right_mm,
    case
        when is_one_frame and shifts_product_mm2 > left_shift_mm * right_shift_mm / 2
            then least(left_shift_mm, right_shift_mm)
        when is_one_frame and shifts_product_mm2 is not null then 0
    end as shared_shift_mm,
    planned_spacing_mm,
    achieved_spacing_mm,
    abs(achieved_spacing_mm - planned_spacing_mm) as spacing_change_mm,
    if(is_one_frame, lean_of_upright_result_deg, null) as lean_of_upright_result_deg
from pairs

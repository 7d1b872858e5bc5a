-- Each scan on its plan, for scans none of whose matching points is set aside. Why one is not superimposed
-- stands beside it; its pair's figures need no superimposing. Columns: reference/columns.csv.
-- Grain: case_key, scan.
with with_held_points as (
    select distinct
        p.case_key,
        p.scan
    from checked.matching_points as p
    cross join unnest(p.row_ids) as u (row_id)  -- noqa: AL05
    inner join checked.held as h on u.row_id = h.row_id
    where not p.is_left_out
),

with_file as (
    select distinct m.case_key
    from checked.file_motions as m
)

select
    g.case_key,
    g.scan,
    g.achieved_source,
    g.landmarks_used,
    g.count_left_out,
    g.days_between_scans,
    g.fre_mm,
    g.worst_label,
    g.leave_one_out_mm,
    g.fle_mm,
    g.fle_basis,
    g.tre_entry_mm,
    g.axis_sd_deg,
    g.shift_left_sd_mm,
    g.shift_back_sd_mm,
    g.shift_up_sd_mm,
    g.roll_sd_deg,
    g.pitch_sd_deg,
    g.yaw_sd_deg,
    g.rotation_xx,
    g.rotation_xy,
    g.rotation_xz,
    g.rotation_yx,
    g.rotation_yy,
    g.rotation_yz,
    g.rotation_zx,
    g.rotation_zy,
    g.rotation_zz,
    g.shift_x_mm,
    g.shift_y_mm,
    g.shift_z_mm,
    g.refusal is null as is_superimposed,
    g.is_from_file,
    case g.refusal
        when 'too_few'
            then
                case
                    when g.landmarks_used = 0
                        then
                            'no point is marked in both plan and scan'
                            || if(f.case_key is null, '', ', and the registration file named cannot be used')
                    else 'only ' || g.landmarks_used || ' matching point(s); it takes three'
                end
        when 'near_line' then 'the matching points lie nearly on one line'
        when 'axis_uncertain'
            then
                format(
                    'expected error of an axis {:.1f} degrees, more than {:.1f}', g.axis_sd_deg,
                    $largest_axis_error_deg
                )
        when 'entry_uncertain'
            then
                format(
                    'expected error at an entry {:.1f} mm, more than {:.1f}', g.tre_entry_mm,
                    $largest_entry_error_mm
                )
    end as reason,
    nullif(
        concat_ws(
            '; ',
            case
                when g.is_from_file
                    then
                        'moved by a registration file, whose error is not known: the uncertainty is that of'
                        || ' the source alone'
            end,
            case when g.landmarks_used = 3 then 'three points: no check possible' end,
            case
                when g.is_on_mucosa
                    then
                        'the expected error assumes that each point errs on its own; on soft tissue it is a'
                        || ' lower limit'
            end,
            case
                when g.fle_basis = 'published' and not g.is_from_file
                    then 'too few points of this source on record: the error of a point is a published one'
            end,
            case
                when g.count_left_out > 0
                    then g.count_left_out || ' point(s) near a site left out, because they move with healing'
            end
        ),
        ''
    ) as note
from checked.registrations as g
left join with_file as f on g.case_key = f.case_key
anti join with_held_points as h on g.case_key = h.case_key and g.scan = h.scan

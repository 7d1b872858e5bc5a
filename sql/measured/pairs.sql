-- The two implants of a case against each other. Columns: reference/columns.csv.
-- Grain: case_key, basis, achieved_source.
with all_bases as (
    select * from measured.pairs_from_coordinates
    union all by name
    select * from measured.pairs_from_cast
    union all by name
    select * from measured.pairs_from_readings
    union all by name
    select * from measured.pairs_from_ready_figures
    union all by name
    select * from measured.pairs_from_films
),

changed as (
    select
        b.*,
        b.achieved_frontal_convergence_deg
        - b.planned_frontal_convergence_deg as convergence_change_deg,
        b.achieved_sagittal_difference_deg
        - b.planned_sagittal_difference_deg as sagittal_change_deg,
        b.achieved_own_frontal_convergence_deg - b.planned_own_frontal_convergence_deg
            as own_convergence_change_deg,
        b.achieved_own_sagittal_difference_deg - b.planned_own_sagittal_difference_deg
            as own_sagittal_change_deg,
        (
            b.achieved_spacing_mm
            - (d.left_diameter_mm + d.right_diameter_mm) / 2
            - $later_diameter_mm
        )
        / 2 as middle_gap_mm,
        (
            b.planned_spacing_mm
            - (d.left_diameter_mm + d.right_diameter_mm) / 2
            - $later_diameter_mm
        )
        / 2 as planned_middle_gap_mm,
        coalesce(o.place_in_order::integer, 99) as place_in_order,
        -- films are for screening: preferred only where there is nothing else
        coalesce(o.grade <> 'screening', true) as is_measured,
        coalesce(b.angle_sd_deg, e.pair_angle_sd_deg)
        / case when e.is_from_repeats then sqrt(greatest(b.count_readings, 1)) else 1 end
            as source_angle_sd_deg
    from all_bases as b
    left join measured.pair_diameters as d on b.case_key = d.case_key
    left join reference.source_order as o
        on b.basis = o.basis and b.achieved_source = o.achieved_source
    left join measured.reading_errors as e
        on b.basis = e.basis and b.achieved_source = e.achieved_source
)

select
    c.case_key,
    c.patient_key,
    c.basis,
    c.achieved_source,
    row_number() over (
        partition by c.case_key
        order by
            c.is_measured desc, c.achieved_angle_deg is not null desc, c.place_in_order asc, c.basis asc,
            c.achieved_source asc
    ) = 1 as is_preferred,
    c.planned_angle_deg,
    c.achieved_angle_deg,
    c.achieved_angle_deg - c.planned_angle_deg as angle_change_deg,
    sqrt(
        coalesce(c.convergence_change_deg, c.own_convergence_change_deg) ^ 2
        + coalesce(c.sagittal_change_deg, c.own_sagittal_change_deg) ^ 2
    ) as pair_rotation_deg,
    c.planned_frontal_convergence_deg,
    c.achieved_frontal_convergence_deg,
    coalesce(c.convergence_change_deg, c.own_convergence_change_deg)
        as frontal_convergence_change_deg,
    c.planned_sagittal_difference_deg,
    c.achieved_sagittal_difference_deg,
    coalesce(c.sagittal_change_deg, c.own_sagittal_change_deg) as sagittal_difference_change_deg,
    c.planned_own_frontal_convergence_deg,
    c.achieved_own_frontal_convergence_deg,
    c.planned_own_sagittal_difference_deg,
    c.achieved_own_sagittal_difference_deg,
    c.planned_spacing_mm,
    c.achieved_spacing_mm,
    c.achieved_spacing_mm - c.planned_spacing_mm as spacing_change_mm,
    c.planned_apex_spacing_mm,
    c.achieved_apex_spacing_mm,
    c.planned_left_entry_right_apex_mm,
    c.achieved_left_entry_right_apex_mm,
    c.planned_right_entry_left_apex_mm,
    c.achieved_right_entry_left_apex_mm,
    c.left_midline_mm,
    c.right_midline_mm,
    c.planned_left_midline_mm,
    c.planned_right_midline_mm,
    c.midline_asymmetry_mm,
    c.fulcrum_skew_deg,
    c.planned_fulcrum_skew_deg,
    c.fulcrum_forward_mm,
    c.planned_fulcrum_forward_mm,
    c.fulcrum_forward_share,
    c.planned_fulcrum_forward_share,
    c.middle_gap_mm,
    c.planned_middle_gap_mm,
    c.left_distal_room_mm,
    c.right_distal_room_mm,
    c.planned_left_distal_room_mm,
    c.planned_right_distal_room_mm,
    c.left_foramen_mm,
    c.right_foramen_mm,
    c.planned_left_foramen_mm,
    c.planned_right_foramen_mm,
    nullif(
        concat_ws(
            '; ',
            case
                when c.middle_gap_mm < $gap_mm
                    then
                        format(
                            'a later implant of {:.1f} mm in the middle would have {:.1f} mm of bone on each'
                            || ' side, less than the {:.1f} mm wanted',
                            $later_diameter_mm, c.middle_gap_mm, $gap_mm
                        )
            end,
            case
                when c.achieved_spacing_mm > $widest_spacing_mm
                    then
                        format(
                            'the two stand {:.1f} mm apart, more than the {:.1f} mm set',
                            c.achieved_spacing_mm, $widest_spacing_mm
                        )
            end,
            case
                when
                    coalesce(
                        c.left_foramen_mm, c.right_foramen_mm, c.planned_left_foramen_mm,
                        c.planned_right_foramen_mm
                    ) is not null
                    then
                        'room behind and distances to the foramen are advisory: the loop of the nerve is not'
                        || ' taken off, and no distance permits anything'
            end
        ),
        ''
    ) as room_note,
    c.jaw_frame_basis,
    c.source_angle_sd_deg as angle_sd_deg,
    c.count_readings,
    coalesce(
        c.planned_basis,
        case when coalesce(c.planned_angle_deg, c.planned_spacing_mm) is not null then 'record' end
    ) as planned_basis,
    g.lab_angle_deg,
    g.lab_frontal_convergence_deg,
    g.clinical_frontal_convergence_deg,
    g.lab_sagittal_difference_deg,
    g.clinical_sagittal_difference_deg,
    g.lab_spacing_mm,
    g.clinical_spacing_mm,
    c.basis_note
from changed as c
left join measured.guide_pairs as g
    on c.case_key = g.case_key and c.basis = g.basis and c.achieved_source = g.achieved_source

-- The error of a pair as ten numbers: six that a rigid motion of both implants makes, four that none can.
-- Displacements are those of the middles of the axes; left, back and up are the jaw's own directions where
-- its landmarks tell them, never mirrored; in an upper jaw "up" is downward, toward the opposing teeth.
-- A lean is that of the upper end of an implant, to the left and to the back. Squared errors of the four
-- points (entries, apices) add up exactly: rigid_mm2 + not_rigid_mm2. A pair whose scan is not superimposed
-- has the four numbers that need no superimposing, in its own directions, and no rigid ones.
-- Columns: reference/columns.csv. Grain: case_key, basis, achieved_source.
with members as (
    select
        a.case_key,
        a.achieved_source,
        a.side,
        a.scan,
        a.tre_entry_mm is not null as is_superimposed_here,
        coalesce(l.is_deliberate_change, false) as is_deliberate_change,
        coalesce(
            abs(l.recorded_planned_length_mm - l.recorded_placed_length_mm) >= 0.1 - 1e-9, false
        ) as is_length_substituted,
        coalesce(l.planned_reference <> l.achieved_reference, false)
        and l.reference_offset_mm is null as is_reference_unmatched,
        case
            when l.planned_reference <> l.achieved_reference then coalesce(l.reference_offset_mm, 0)
            else 0
        end as offset_mm
    from measured.axes as a
    inner join measured.labels as l
        on
            a.case_key = l.case_key
            and a.implant_key = l.implant_key
            and a.achieved_source = l.achieved_source
            and l.part = 'pair'
),

sides as (
    select
        m.case_key,
        m.achieved_source,
        min(m.scan) as scan,
        bool_and(m.is_superimposed_here) as is_superimposed_here,
        bool_or(m.is_deliberate_change) as is_deliberate_change,
        bool_or(m.is_length_substituted) as is_length_substituted,
        bool_or(m.is_reference_unmatched) as is_reference_unmatched,
        bool_or(m.is_length_substituted) filter (m.side = 'left') as is_left_substituted,
        bool_or(m.is_length_substituted) filter (m.side = 'right') as is_right_substituted,
        max(m.offset_mm) filter (m.side = 'left') as left_offset_mm,
        max(m.offset_mm) filter (m.side = 'right') as right_offset_mm
    from members as m
    group by m.case_key, m.achieved_source
),

lengths as (
    select
        s.*,
        distance_mm(s.lx, s.ly, s.lz, s.lax, s.lay, s.laz) as left_length_mm,
        distance_mm(s.rx, s.ry, s.rz, s.rax, s.ray, s.raz) as right_length_mm,
        distance_mm(s.lx, s.ly, s.lz, s.rx, s.ry, s.rz) as spacing_mm
    from measured.pair_states as s
),

-- half the length to the middle of each axis, counted from the recorded entry
reaches as (
    select
        a.*,
        d.* exclude (case_key, achieved_source),
        p.left_length_mm as planned_left_length_mm,
        p.right_length_mm as planned_right_length_mm,
        (p.left_length_mm + p.right_length_mm) / 2 as planned_length_mm,
        p.spacing_mm as planned_spacing_mm,
        case
            when a.state = 'planned' then a.left_length_mm / 2
            when d.is_left_substituted then p.left_length_mm / 2 - d.left_offset_mm
            else a.left_length_mm / 2 - d.left_offset_mm
        end as left_reach_mm,
        case
            when a.state = 'planned' then a.right_length_mm / 2
            when d.is_right_substituted then p.right_length_mm / 2 - d.right_offset_mm
            else a.right_length_mm / 2 - d.right_offset_mm
        end as right_reach_mm
    from lengths as a
    inner join lengths as p
        on a.case_key = p.case_key and a.achieved_source = p.achieved_source and p.state = 'planned'
    inner join sides as d on a.case_key = d.case_key and a.achieved_source = d.achieved_source
),

places as (
    select
        r.*,
        r.lx + r.left_reach_mm * r.lu as left_x,
        r.ly + r.left_reach_mm * r.lv as left_y,
        r.occlusal * (r.lz + r.left_reach_mm * r.lw) as left_z,
        r.rx + r.right_reach_mm * r.ru as right_x,
        r.ry + r.right_reach_mm * r.rv as right_y,
        r.occlusal * (r.rz + r.right_reach_mm * r.rw) as right_z,
        lean_deg(-r.lu, -r.lw * r.occlusal) as left_tau,
        lean_deg(-r.ru, -r.rw * r.occlusal) as right_tau,
        lean_deg(-r.lv, -r.lw * r.occlusal) as left_beta,
        lean_deg(-r.rv, -r.rw * r.occlusal) as right_beta,
        (r.lx - r.rx) / nullif(r.spacing_mm, 0) as line_x,
        (r.ly - r.ry) / nullif(r.spacing_mm, 0) as line_y,
        (r.lz - r.rz) / nullif(r.spacing_mm, 0) as line_z,
        nullif(sqrt((r.lu + r.ru) ^ 2 + (r.lv + r.rv) ^ 2 + (r.lw + r.rw) ^ 2), 0) as both_ends
    from reaches as r
),

-- the two numbers in the pair's own directions that pair_figures does not hold
own as (
    select
        p.*,
        (p.left_x - p.right_x) * p.line_x
        + (p.left_y - p.right_y) * p.line_y
        + p.occlusal * (p.left_z - p.right_z) * p.line_z as own_middle_spacing_mm,
        degrees(
            asin(
                least(
                    greatest(
                        -((p.lu + p.ru) * p.line_x + (p.lv + p.rv) * p.line_y + (p.lw + p.rw) * p.line_z)
                        / p.both_ends,
                        -1
                    ),
                    1
                )
            )
        ) as own_lean_to_line_deg
    from places as p
),

changes as (
    select
        a.case_key,
        a.patient_key,
        a.achieved_source,
        a.frame = 'plan' as is_in_plan,
        a.scan,
        a.is_superimposed_here,
        a.is_deliberate_change,
        a.is_length_substituted,
        a.is_reference_unmatched,
        a.count_readings,
        a.planned_length_mm,
        a.planned_spacing_mm,
        a.left_x - p.left_x as lx,
        a.left_y - p.left_y as ly,
        a.left_z - p.left_z as lz,
        a.right_x - p.right_x as rx,
        a.right_y - p.right_y as ry,
        a.right_z - p.right_z as rz,
        a.left_tau - p.left_tau as lt,
        a.right_tau - p.right_tau as rt,
        a.left_beta - p.left_beta as lb,
        a.right_beta - p.right_beta as rb,
        a.own_middle_spacing_mm - p.own_middle_spacing_mm as own_spacing_mm,
        fa.own_frontal_convergence_deg - fp.own_frontal_convergence_deg as own_convergence_deg,
        fa.own_sagittal_difference_deg - fp.own_sagittal_difference_deg as own_sagittal_deg,
        a.own_lean_to_line_deg - p.own_lean_to_line_deg as own_contradiction_deg
    from own as a
    inner join own as p
        on a.case_key = p.case_key and a.achieved_source = p.achieved_source and p.state = 'planned'
    inner join measured.pair_figures as fa
        on a.case_key = fa.case_key and a.achieved_source = fa.achieved_source and fa.state = 'achieved'
    inner join measured.pair_figures as fp
        on a.case_key = fp.case_key and a.achieved_source = fp.achieved_source and fp.state = 'planned'
    where a.state = 'achieved' and a.planned_spacing_mm > 0
),

-- S is the mean of left and right, D is left minus right; only the upward ones need a common reference point
means as (
    select
        c.*,
        case when not c.is_reference_unmatched then c.lz + c.rz end as z_sum,
        case when not c.is_reference_unmatched then degrees(-(c.lz - c.rz) / c.planned_spacing_mm) end
            as rho,
        (c.lt + c.rt) / 2 as mean_tau,
        c.planned_length_mm ^ 2 as l2,
        c.planned_spacing_mm ^ 2 as w2
    from changes as c
),

modes as (
    select
        m.*,
        case when m.is_in_plan then (m.lx + m.rx) / 2 end as shift_left_mm,
        case when m.is_in_plan then (m.ly + m.ry) / 2 end as shift_back_mm,
        case when m.is_in_plan then m.z_sum / 2 end as shift_up_mm,
        case when m.is_in_plan then (m.l2 * m.mean_tau + m.w2 * m.rho) / (m.l2 + m.w2) end as roll_deg,
        case when m.is_in_plan then -(m.lb + m.rb) / 2 end as pitch_deg,
        case when m.is_in_plan then degrees((m.ly - m.ry) / m.planned_spacing_mm) end as yaw_deg,
        case when m.is_in_plan then m.lx - m.rx else m.own_spacing_mm end as spacing_mm,
        case when m.is_in_plan then m.rt - m.lt else m.own_convergence_deg end
            as frontal_convergence_deg,
        case when m.is_in_plan then m.rb - m.lb else m.own_sagittal_deg end as sagittal_difference_deg,
        case when m.is_in_plan then m.mean_tau - m.rho else m.own_contradiction_deg end
            as contradiction_deg
    from means as m
),

squares as (
    select
        o.*,
        4 * (o.shift_left_mm ^ 2 + o.shift_back_mm ^ 2 + o.shift_up_mm ^ 2)
        + o.l2 * radians(o.pitch_deg) ^ 2
        + o.w2 * radians(o.yaw_deg) ^ 2
        + (o.l2 + o.w2) * radians(o.roll_deg) ^ 2 as rigid_mm2,
        o.spacing_mm ^ 2
        + o.l2 / 4 * (radians(o.frontal_convergence_deg) ^ 2 + radians(o.sagittal_difference_deg) ^ 2)
        + o.l2 * o.w2 / (o.l2 + o.w2) * radians(o.contradiction_deg) ^ 2 as not_rigid_mm2,
        -- of one implant's middle per coordinate, and of its lean per plane; entry and apex tell both
        e.angle_sd_deg / sqrt(2) / sqrt(case when e.is_from_repeats then o.count_readings else 1 end)
            as lean_reading_sd_deg,
        sqrt(
            greatest(
                (e.entry_sd_mm ^ 2 + e.apex_sd_mm ^ 2) / 6 - o.l2 / 8 * radians(e.angle_sd_deg) ^ 2, 0
            )
            / case when e.is_from_repeats then o.count_readings else 1 end
        ) as place_reading_sd_mm,
        e.is_from_repeats
    from modes as o
    left join measured.reading_errors as e
        on e.basis = 'coordinates' and o.achieved_source = e.achieved_source
),

scored as (
    select
        s.*,
        s.spacing_mm ^ 2 / nullif(2 * s.place_reading_sd_mm ^ 2, 0)
        + (s.frontal_convergence_deg ^ 2 + s.sagittal_difference_deg ^ 2)
        / nullif(2 * s.lean_reading_sd_deg ^ 2, 0)
        + radians(s.contradiction_deg) ^ 2
        / nullif(
            radians(s.lean_reading_sd_deg) ^ 2 / 2 + 2 * s.place_reading_sd_mm ^ 2 / s.w2, 0
        ) as kept_score
    from squares as s
)

select
    s.case_key,
    s.patient_key,
    'coordinates' as basis,
    s.achieved_source,
    s.is_in_plan,
    s.shift_left_mm,
    s.shift_back_mm,
    s.shift_up_mm,
    s.roll_deg,
    s.pitch_deg,
    s.yaw_deg,
    s.spacing_mm,
    s.frontal_convergence_deg,
    s.sagittal_difference_deg,
    s.contradiction_deg,
    s.rigid_mm2,
    s.not_rigid_mm2,
    s.rigid_mm2 / nullif(s.rigid_mm2 + s.not_rigid_mm2, 0) as rigid_share,
    s.planned_length_mm,
    s.planned_spacing_mm,
    s.kept_score,
    -- upper tail of chi-square with 4 degrees of freedom
    exp(-s.kept_score / 2) * (1 + s.kept_score / 2) as kept_p,
    exp(-s.kept_score / 2) * (1 + s.kept_score / 2) >= 0.05 as is_pair_kept,
    s.place_reading_sd_mm,
    s.lean_reading_sd_deg,
    s.is_from_repeats as is_reading_from_repeats,
    g.shift_left_sd_mm,
    g.shift_back_sd_mm,
    g.shift_up_sd_mm,
    g.roll_sd_deg,
    g.pitch_sd_deg,
    g.yaw_sd_deg,
    s.is_deliberate_change,
    s.is_length_substituted,
    nullif(
        concat_ws(
            '; ',
            case
                when not s.is_in_plan
                    then
                        'not superimposed: only the four numbers that no rigid motion makes, in the pair''s'
                        || ' own directions'
            end,
            case
                when s.is_reference_unmatched
                    then 'plan and result name different reference points: nothing that needs a depth'
            end,
            case
                when s.is_length_substituted
                    then 'another implant length was placed: compared at the planned length'
            end
        ),
        ''
    ) as basis_note
from scored as s
left join measured.registrations as g
    on
        s.case_key = g.case_key
        and s.scan = g.scan
        and s.is_in_plan
        and s.is_superimposed_here
        and g.is_superimposed

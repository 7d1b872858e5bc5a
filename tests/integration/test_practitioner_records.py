"""The records of a practitioner without coordinates: casts, rules, guides, repeats."""

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.records.codes import Codebook
from tests.audits import fill, opened, quiet

PAIR = "case_id,state,quantity,value,source,converging\n"
SITES = (
    "case_id,side,state,midline_mm,crest_offset_mm,left_pad_mm,right_pad_mm,"
    "between_pads_mm,tool,reading\n"
)


class Made:
    """An audit run once, whose tables are asked about one case at a time."""

    def __init__(self, place, files, *, rules="", up_to="measured"):
        self.folder = audits.create_folder(place / "a").folder
        path = self.folder / "audit.toml"
        path.write_text(path.read_text(encoding="utf-8") + rules, encoding="utf-8")
        fill(self.folder, {f"{name}.csv": text for name, text in files.items()})
        commands.run(self.folder, up_to, commands.Wishes(), quiet)
        self.code = Codebook(audits.open_folder(self.folder).settings()).code_of

    def rows(self, table, case="", where="true"):
        select = f"select * from {table} where {where}"
        if case:
            select += f" and case_key = '{self.code('case', case)}'"
        with opened(self.folder) as audit:
            frame = audit.frame(select).astype(object)
        return frame.where(frame.notna(), None).to_dict("records")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Make audits with keys of their own, whatever test asks first."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        yield lambda files, **more: Made(tmp_path_factory.mktemp("made"), files, **more)


def from_pads(x, forward, between=48.0):
    """Distances of a site to left and right pad, and between the pads, as cells."""
    sizes = [np.hypot(x - pad, forward) for pad in (between / 2, -between / 2)]
    return ",".join(repr(float(size)) for size in (*sizes, between))


def site(case, side, state, *, midline="", crest="", pads=",,", tool="ruler"):
    return f"{case},{side},{state},{midline},{crest},{pads},{tool},1\n"


def angles(case, state, frontal, sagittal=None, *, source="surveyor"):
    converging = "yes" if frontal > 0 else "no"
    text = f"{case},{state},frontal_angle,{abs(frontal)},{source},{converging}\n"
    if sagittal is not None:
        text += f"{case},{state},sagittal_angle,{sagittal},{source},\n"
    return text


MOVED = {"left": ((8, 40), (9, 40.5)), "right": ((-8, 40), (-7.6, 39.8))}
"""Left moves 1 mm outward and 0.5 forward, right 0.4 inward and 0.2 backward."""

STEP = 0.3 * float(np.sqrt(12))
"""Step of a tool whose single reading has a standard uncertainty of 0.3 mm."""

CASTS = SITES + "".join(
    [
        *(
            site("pads", side, state, pads=from_pads(*place), tool="callipers")
            for side, places in MOVED.items()
            for state, place in zip(("planned", "achieved"), places, strict=True)
        ),
        site("marks", "left", "planned", midline=8, crest=1, pads=from_pads(8, 40)),
        site(
            "marks", "left", "achieved", midline=8.5, crest=1.2, pads=from_pads(9, 41)
        ),
        site("no plan", "left", "achieved", midline=8.5),
        site("no plan", "right", "achieved", midline=7),
        site("two tools", "left", "planned", midline=8),
        site("two tools", "left", "achieved", midline=9, tool="callipers"),
        site("guide", "left", "planned", midline=8, crest=0),
        site("guide", "left", "guide", midline=8.6, crest=0.2),
        site("guide", "left", "achieved", midline=8.2, crest=0.9),
    ]
)
PAIRS = PAIR + "".join(
    [
        angles("no plan", "achieved", 3),
        angles("guide", "planned", 1, 0),
        angles("guide", "guide", -2, 1.5),
        angles("guide", "achieved", 4, -1),
    ]
)
COARSE = SITES.replace("reading", "reading,resolution_mm") + site(
    "coarse", "left", "achieved", pads=from_pads(8, 42.5)
).replace("ruler,1", f"scan,1,{STEP!r}")
CASES = (
    "case_id,guidance,guide_id,mucosa_thickness_mm,film_check\n"
    "pilot,pilot,G1,1,changed\nfull,full,G2,,accepted\ntight,pilot,G3,2,accepted\n"
    "freehand,freehand,,2,\n"
)
SLIPS = (
    "guide_id,kind,hole_diameter_mm,hole_length_mm,hole_to_tissue_mm,drill_diameter_mm\n"
    "G1,surgical,2.2,10,1,2.0\nG2,surgical,2.2,10,1,2.0\nG3,surgical,2.0,10,1,2.0\n"
)


@pytest.fixture(scope="module")
def plain(made):
    """Records of many kinds, each in a case of its own; no plan rules."""
    files = {
        "cast_readings": CASTS,
        "coarse/cast_readings": COARSE,
        "pair_readings": PAIRS,
        "cases": CASES,
        "guides": SLIPS,
    }
    return made(files, up_to="summarised")


def by_side(rows):
    return {row["side"]: row for row in rows}


def test_three_distances_give_the_shift_without_any_midline_mark(plain):
    found = by_side(plain.rows("measured.implants", "pads"))
    assert found["left"]["mesial_mm"] == pytest.approx(-1, abs=1e-9)
    assert found["left"]["facial_mm"] == pytest.approx(0.5, abs=1e-9)
    assert found["right"]["mesial_mm"] == pytest.approx(0.4, abs=1e-9)
    assert found["right"]["facial_mm"] == pytest.approx(-0.2, abs=1e-9)
    assert "not for the place itself" in found["left"]["basis_note"]
    (pair,) = plain.rows("measured.pairs", "pads")
    assert pair["planned_spacing_mm"] == pytest.approx(16, abs=1e-9)
    assert pair["achieved_spacing_mm"] == pytest.approx(np.hypot(16.6, 0.7), abs=1e-9)
    assert pair["left_midline_mm"] is None


def test_a_midline_mark_and_a_crest_go_before_the_pads(plain):
    (row,) = plain.rows("measured.implants", "marks")
    assert (row["mesial_mm"], row["facial_mm"]) == pytest.approx((-0.5, 0.2))
    assert "pads" not in row["basis_note"]
    # read twice, plan and result: twice the variance of whole millimetres
    assert row["entry_sd_mm"] == pytest.approx(np.sqrt(2 / 12))


def test_the_error_of_three_distances_is_that_of_practice(plain):
    """0.3 mm readings on a 48 mm pad line: 0.44 mm sideways, 0.26 mm forward."""
    (found,) = plain.rows("measured.pad_sites", "coarse")
    assert found["x_sd_mm"] == pytest.approx(0.44, abs=0.005)
    assert found["forward_sd_mm"] == pytest.approx(0.26, abs=0.005)
    rng = np.random.default_rng(20261125)
    left, right, between = (
        size + rng.normal(0, 0.3, 200_000)
        for size in map(float, from_pads(8, 42.5).split(","))
    )
    x = (right**2 - left**2) / (2 * between)
    forward = np.sqrt(left**2 - (between / 2 - x) ** 2)
    assert found["x_sd_mm"] == pytest.approx(x.std(), rel=0.02)
    assert found["forward_sd_mm"] == pytest.approx(forward.std(), rel=0.02)


def test_without_a_rule_a_missing_plan_stays_missing(plain):
    assert plain.rows("measured.implants", "no plan") == []
    found = plain.rows("measured.pairs", "no plan")
    assert len(found) == 2
    assert {row["planned_basis"] for row in found} == {None}
    assert {row["planned_angle_deg"] for row in found} == {None}


def test_a_plan_read_with_another_tool_is_still_the_plan(plain):
    (row,) = plain.rows("measured.implants", "two tools")
    assert (row["achieved_source"], row["mesial_mm"]) == ("cast_callipers", -1)


def test_lab_part_and_clinical_part_add_up_to_the_change(plain):
    """Converging 1 planned, diverging 2 in the guide, converging 4 in the mouth."""
    (pair,) = plain.rows("measured.pairs", "guide", "basis = 'pair'")
    assert pair["lab_frontal_convergence_deg"] == pytest.approx(-3)
    assert pair["clinical_frontal_convergence_deg"] == pytest.approx(6)
    assert pair["frontal_convergence_change_deg"] == pytest.approx(3)
    assert pair["lab_sagittal_difference_deg"] == pytest.approx(1.5)
    assert pair["clinical_sagittal_difference_deg"] == pytest.approx(-2.5)


def test_an_angle_without_sign_is_shown_and_never_subtracted(plain):
    (angle,) = plain.rows("measured.guide_parts", "guide", "quantity = 'angle_deg'")
    tilt = np.degrees(np.arctan(np.hypot(*np.tan(np.radians([2, 1.5])))))
    assert angle["guide"] == pytest.approx(tilt)
    assert (angle["lab_part"], angle["clinical_part"]) == (None, None)
    (pair,) = plain.rows("measured.pairs", "guide", "basis = 'pair'")
    assert pair["lab_angle_deg"] == pytest.approx(tilt)


def test_the_lab_part_of_a_shift_stands_beside_the_implant(plain):
    (row,) = plain.rows("measured.implants", "guide")
    assert row["lab_mesial_mm"] == pytest.approx(-0.6)
    assert row["clinical_mesial_mm"] == pytest.approx(0.4)
    assert row["mesial_mm"] == pytest.approx(-0.2)
    assert row["lab_facial_mm"] == pytest.approx(0.2)
    assert row["clinical_facial_mm"] == pytest.approx(0.7)


def test_play_is_taken_from_the_slip_and_says_what_it_bounds(plain):
    """Bore 2.2, length 10, drill 2.0 give 1.14 degrees; a pilot bounds no implant."""
    (pilot,) = plain.rows("measured.play", "pilot")
    assert pilot["note"] == "bounds the pilot hole, not the implant"
    assert pilot["tilt_deg"] == pytest.approx(1.14, abs=0.005)
    assert pilot["entry_reach_low_mm"] == pytest.approx(0.14, abs=0.005)
    assert pilot["entry_reach_high_mm"] == pilot["entry_reach_low_mm"]
    (full,) = plain.rows("measured.play", "full")
    assert (full["bounds"], full["play"]) == ("implant", "play")
    assert "mucosa not measured" in full["note"]
    # 1 to 3 mm of mucosa where it was not measured: published mean 2.0, sd 1.0
    reach = np.tan(np.radians(full["tilt_deg"])) * np.array([5 + 1 + 1, 5 + 1 + 3])
    got = (full["entry_reach_low_mm"], full["entry_reach_high_mm"])
    assert got == pytest.approx(tuple(reach))
    (tight,) = plain.rows("measured.play", "tight")
    assert (tight["play"], tight["tilt_deg"]) == ("no play by size", None)
    assert plain.rows("measured.play", "freehand") == []


def test_how_often_the_film_check_changed_the_plan_is_counted(plain):
    found = {
        row["film_check"]: row["count_cases"]
        for row in plain.rows("summarised.film_checks")
    }
    # six cases have no row in the sheet cases, one no word on films
    assert found == {"changed": 1, "accepted": 2, "not_done": 0, "not known": 7}


RULES = '\n[plan]\nsite_rule_mm = 8\naxis_rule = "surveyor"\n'
RULED_CASTS = SITES + "".join(
    [
        site("no plan", "left", "achieved", midline=8.5),
        site("no plan", "right", "achieved", midline=7),
        site("written", "left", "planned", midline=7),
        site("written", "left", "achieved", midline=8.5),
        site("bench", "left", "guide", midline=8.5, crest=0.5),
        site("bench", "right", "guide", midline=7.5, crest=0),
    ]
)
RULED_PAIRS = PAIR + "".join(
    [
        angles("no plan", "achieved", 3, 4),
        angles("written", "planned", 2, source="photo"),
        angles("written", "achieved", 3),
        angles("bench", "guide", 2),
    ]
)


@pytest.fixture(scope="module")
def ruled(made):
    """The clinic plans every site 8 mm from the midline and square to the plane."""
    files = {"cast_readings": RULED_CASTS, "pair_readings": RULED_PAIRS}
    return made(files, rules=RULES)


def test_a_rule_fills_a_missing_plan_and_says_so(ruled):
    found = by_side(ruled.rows("measured.implants", "no plan"))
    assert found["left"]["mesial_mm"] == pytest.approx(-0.5)
    assert found["right"]["mesial_mm"] == pytest.approx(1)
    assert {row["planned_basis"] for row in found.values()} == {"rule"}
    # whole millimetres, read once: the plan by rule carries no reading error
    assert found["left"]["entry_sd_mm"] == pytest.approx(1 / np.sqrt(12))
    by_basis = {row["basis"]: row for row in ruled.rows("measured.pairs", "no plan")}
    pair = by_basis["pair"]
    assert pair["planned_angle_deg"] == 0
    assert pair["pair_rotation_deg"] == pytest.approx(5)
    assert pair["planned_spacing_mm"] == 16
    assert pair["planned_basis"] == "rule"
    assert "planned 0 by construction hides what the lab did" in pair["basis_note"]
    assert "a pin check of the guide would show it" in pair["basis_note"]
    assert by_basis["cast"]["planned_spacing_mm"] == 16
    assert by_basis["cast"]["spacing_change_mm"] == pytest.approx(-0.5)


def test_a_rule_never_touches_a_plan_that_was_written_down(ruled):
    (row,) = ruled.rows("measured.implants", "written")
    assert (row["planned_basis"], row["mesial_mm"]) == ("record", -1.5)
    (pair,) = ruled.rows("measured.pairs", "written", "basis = 'pair'")
    assert pair["frontal_convergence_change_deg"] == pytest.approx(1)
    # one plane is on record, so the rule says nothing about the other
    assert pair["planned_sagittal_difference_deg"] is None


def test_the_guide_is_set_against_a_plan_by_rule_before_any_surgery(ruled):
    parts = {
        (row["quantity"], row["side"]): row
        for row in ruled.rows("measured.guide_parts", "bench")
    }
    assert parts["midline_mm", "left"]["lab_part"] == pytest.approx(0.5)
    assert parts["midline_mm", "right"]["lab_part"] == pytest.approx(-0.5)
    assert parts["frontal_convergence_deg", None]["lab_part"] == pytest.approx(2)
    assert parts["spacing_mm", None]["planned"] == 16
    assert parts["midline_mm", "left"]["planned_basis"] == "rule"
    assert parts["crest_offset_mm", "left"]["lab_part"] is None
    assert {row["clinical_part"] for row in parts.values()} == {None}


POINTS = (
    "case_id,side,achieved_source,examiner,reading,planned_entry_x_mm,planned_entry_y_mm,"
    "planned_entry_z_mm,planned_apex_x_mm,planned_apex_y_mm,planned_apex_z_mm,"
    "achieved_entry_x_mm,achieved_entry_y_mm,achieved_entry_z_mm,achieved_apex_x_mm,"
    "achieved_apex_y_mm,achieved_apex_z_mm\n"
)
TIMES = 3
"""How often a result is read again."""


def repeated(source, n_cases, seed):
    """One case read once, others again with 0.1 mm error; sheet and their readings."""
    rng = np.random.default_rng(seed)
    text, values = "", np.zeros((n_cases - 1, TIMES, 6))
    for case in range(n_cases):
        for reading in range(TIMES if case else 1):
            point = np.array([8, 0, 0, 8.5, 0.3, -10]) + rng.normal(0, 0.1, 6)
            if case:
                values[case - 1, reading] = point
            cells = ",".join(repr(float(value)) for value in point)
            text += f"{source}{case},left,{source},E{reading},{reading + 1},"
            text += f"8,0,0,8,0,-10,{cells}\n"
    return text, values


@pytest.fixture(scope="module")
def repeats(made):
    """Enough repeats of scan bodies, too few of volume scans, casts read by two."""
    scans, values = repeated("scan_body", 8, 1)
    few, _ = repeated("cbct", 4, 2)
    rng = np.random.default_rng(4)
    casts = SITES.replace("reading\n", "reading,examiner\n")
    for case in range(12):
        first = 8 + rng.normal(0, 1)
        for reading, examiner in ((1, "E1"), (2, "E2")):
            value = float(first + 0.5 * (reading - 1) + rng.normal(0, 0.05))
            casts += (
                f"K{case},left,planned,{value!r},,,,,callipers,{reading},{examiner}\n"
            )
    files = {"implants": POINTS + scans + few, "cast_readings": casts}
    return made(files), values


def test_repeats_become_the_uncertainty_of_single_readings(repeats):
    audit, values = repeats
    within = np.sqrt(values.var(axis=1, ddof=1).mean(axis=0))
    found = {
        row["quantity"]: row
        for row in audit.rows(
            "measured.repeatability",
            where="examiner = 'all' and achieved_source = 'scan_body'",
        )
    }
    assert found["entry_x_mm"]["within_sd"] == pytest.approx(within[0])
    assert found["apex_z_mm"]["within_sd"] == pytest.approx(within[5])
    assert found["entry_x_mm"]["df"] == 14
    implants = {
        row["count_readings"]: row
        for row in audit.rows(
            "measured.implants", where="achieved_source = 'scan_body'"
        )
    }
    entry = np.sqrt(np.sum(within[:3] ** 2))
    assert implants[1]["entry_sd_mm"] == pytest.approx(entry)
    assert implants[TIMES]["entry_sd_mm"] == pytest.approx(entry / np.sqrt(TIMES))
    assert implants[1]["sd_basis"] == "repeats"


def test_too_few_repeats_leave_the_published_error_in_place(repeats):
    audit, _ = repeats
    found = audit.rows("measured.implants", where="achieved_source = 'cbct'")
    assert {row["sd_basis"] for row in found} == {"published"}
    (published,) = audit.rows(
        "reference.source_errors", where="achieved_source = 'cbct'"
    )
    errors = {row["entry_sd_mm"] for row in found}
    assert errors == {float(published["entry_sd_mm"])}


def test_two_examiners_are_compared_with_each_other(repeats):
    """The second reads every site 0.5 mm farther from the midline than the first."""
    audit, _ = repeats
    (row,) = audit.rows("measured.repeatability", where="quantity = 'midline_mm'")
    assert row["examiner"] == "all"  # nobody read a site twice
    assert row["count_pairs"] == 12
    assert row["agreement_bias"] == pytest.approx(0.5, abs=0.1)
    assert row["agreement_low"] < 0.5 < row["agreement_high"]
    assert row["icc"] > 0.5

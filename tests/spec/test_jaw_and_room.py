"""The jaw's own directions, the fulcrum line and room for later implants: worked examples.

All examples are cases of one audit that goes through the ordinary doors. Check values are
own arithmetic unless a source stands beside them.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pipeline import audit as audits
from pipeline import commands
from pipeline.records.codes import Codebook
from tests.audits import COORDINATES, audit_of, implants_csv, opened, quiet

PADS = {"left_pad": (24, 40, 6), "right_pad": (-24, 40, 6)}
MIDLINE = {"midline": (0, -5, 0)}
PLANE = PADS | MIDLINE | {"plane_front": (0, -5, 6)}
RIDGE = [(18, 20, 4), (-18, 20, 4), (10, 0, 2), (-10, 0, 2)]
CREST = {f"crest_{number}": point for number, point in enumerate(RIDGE, 1)}
FORAMINA = {"left_foramen": (25.5, 6, -8), "right_foramen": (-25.5, 6, -8)}
UNMOVED = (np.eye(3), np.zeros(3))


def pair(left, right, *, length=10.0):
    """Entries and apices of both sides, (side, end, xyz); upright axes."""
    ends = np.array([[left, right], [left, right]], float)
    ends[1, :, 2] -= length
    return ends.swapaxes(0, 1)


SITES = pair((8, 0, 0), (-8, 0, 0))


def apart(distance):
    return pair((distance / 2, 0, 0), (-distance / 2, 0, 0))


def moved(points, **by):
    """The same pair with one side moved."""
    points = points.copy()
    for side, shift in by.items():
        points[("left", "right").index(side)] += shift
    return points


def leaning_back():
    points = SITES.copy()
    points[:, 1] += [0, 1, 0]
    return points


TIPPED = (
    Rotation.from_rotvec(np.radians([12, -7, 15])).as_matrix(),
    np.array([40.0, -12, 9]),
)
ASLANT = (Rotation.from_rotvec([0, 0, np.radians(40)]).as_matrix(), np.zeros(3))
DISTURBED = SITES + np.random.default_rng(3).normal(0, 0.7, SITES.shape)
FROM_SURVEYOR, FROM_SOFTWARE = (
    {"plan_coordinates_from": word} for word in ("surveyor", "software")
)
FORAMEN = {
    "beside the axis": ((12, 0, -5), 4.0),
    "level with the entry": ((11, 4, 0), 5.0),
    "below the apex": ((8, 3, -14), 5.0),
    "above the entry": ((8, 0, 6), 6.0),
}

CASES = {
    "basis surveyor": {"marks": PLANE | CREST, "case": FROM_SURVEYOR},
    "basis occlusal_plane": {"marks": PLANE | CREST, "case": FROM_SOFTWARE},
    "basis mean_ridge": {"marks": PADS | MIDLINE | CREST},
    "basis pad_to_crest": {"marks": PADS | MIDLINE},
    "basis plan_frame": {"marks": MIDLINE},
    "nothing": {"achieved": moved(SITES, left=[1, 0, 0])},
    "leaning plane": {"achieved": leaning_back(), "marks": PLANE},
    "leaning crest": {"achieved": leaning_back(), "marks": PADS | MIDLINE},
    "as is": {"achieved": DISTURBED, "marks": PLANE | FORAMINA, "diameter_mm": 4},
    "tipped": {
        "achieved": DISTURBED,
        "marks": PLANE | FORAMINA,
        "diameter_mm": 4,
        "motion": TIPPED,
    },
    "aslant": {
        "achieved": moved(SITES, left=[-1, -2, 3]),
        "marks": PLANE,
        "motion": ASLANT,
    },
    "midline aside": {
        "achieved": moved(SITES, left=[1, 0, 0]),
        "marks": {name: (x + 0.5, y, z) for name, (x, y, z) in PLANE.items()},
    },
    "skew 16": {"achieved": moved(apart(16), left=[0, -1, 0]), "marks": PLANE},
    "skew 22": {
        "planned": apart(22),
        "achieved": moved(apart(22), left=[0, -1, 0]),
        "marks": PLANE,
    },
    "no midline": {"marks": PADS | CREST},
    "gap 14": {"planned": apart(14), "diameter_mm": 4.0},
    "gap 13": {"planned": apart(13), "diameter_mm": 4.0},
    "spacing 30": {"planned": apart(30), "diameter_mm": 4.0},
    "gap 16": {"planned": apart(16), "diameter_mm": 4.2},
    "room 8": {"planned": apart(16), "marks": PLANE | FORAMINA},
    "room 12": {"planned": apart(24), "marks": PLANE | FORAMINA},
    **{
        f"foramen {name}": {"marks": PLANE | {"left_foramen": point}}
        for name, (point, _) in FORAMEN.items()
    },
    "exchanged": {
        "marks": PLANE | dict(zip(PADS, reversed(PADS.values()), strict=True))
    },
}


def coordinates(point):
    return {f"{x}_mm": repr(float(v)) for x, v in zip("xyz", point, strict=True)}


def rows_of(name, given):
    """Rows of one case by sheet; ``motion`` moves plan, result and landmarks together."""
    given = {"planned": SITES, "marks": {}, "motion": UNMOVED, "case": {}} | given
    turn, shift = given.pop("motion")
    planned, marks, case = (given.pop(n) for n in ("planned", "marks", "case"))
    # a result is never its plan to the last digit
    achieved = np.add(given.pop("achieved", planned), [0, 0, -1e-3])
    implants = []
    for side, plan, result in zip(("left", "right"), planned, achieved, strict=True):
        points = np.vstack([plan, result]) @ turn.T + shift
        cells = dict(zip(COORDINATES, map(repr, points.ravel().tolist()), strict=True))
        implants.append({"case_id": name, "side": side} | cells | given)
    landmarks = [
        {"case_id": name, "label": label, "frame": "plan"}
        | coordinates(turn @ np.array(point, float) + shift)
        for label, point in marks.items()
    ]
    return {
        "implants": implants,
        "landmarks": landmarks,
        "cases": [{"case_id": name} | case],
    }


class Measured:
    """What one audit of all cases measured, by the name of the case."""

    def __init__(self, folder):
        self.folder = folder
        self.book = Codebook(audits.open_folder(folder).settings())

    def rows(self, table, name):
        """Rows of a case, left before right."""
        with opened(self.folder) as audit:
            return audit.frame(
                f"select * exclude (case_key, patient_key) from measured.{table}"
                " where case_key = $case order by all",
                {"case": self.book.code_of("case", name)},
            ).sort_values("side" if table == "implants" else "basis")

    def pair(self, name):
        return self.rows("pairs", name).iloc[0]


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        sheets = {"implants": [], "landmarks": [], "cases": []}
        for name, given in CASES.items():
            for sheet, rows in rows_of(name, given).items():
                sheets[sheet] += rows
        files = {f"{sheet}.csv": implants_csv(rows) for sheet, rows in sheets.items()}
        folder = audit_of(tmp_path_factory.mktemp("jaws") / "a", files)
        yield Measured(folder)


@pytest.mark.parametrize("name", [n for n in CASES if n.startswith("basis")])
def test_the_basis_of_the_jaws_directions_stands_with_every_figure(measured, name):
    basis = name.removeprefix("basis ")
    for table in ("implants", "pairs"):
        rows = measured.rows(table, name)
        assert set(rows["jaw_frame_basis"]) == {basis}
        notes = rows["basis_note"].fillna("")
        is_named = notes.str.contains("which is not the occlusal plane")
        assert is_named.all() == (basis == "pad_to_crest")


def test_without_landmarks_the_plans_own_directions_are_said_to_be_used(measured):
    assert set(measured.rows("implants", "nothing")["jaw_frame_basis"]) == {
        "plan_frame"
    }
    assert np.isnan(measured.pair("nothing")["left_midline_mm"])


def test_leans_against_the_plane_of_pads_and_crest_are_biased_by_its_slope(measured):
    """6 mm of height over 45 mm: upright implants seem to lean by 7.6 degrees.

    The occlusal plane gives 0; changes from plan to result are the same in both.
    """
    plane, crest = (
        measured.rows("implants", f"leaning {n}") for n in ("plane", "crest")
    )
    planned, change = "planned_sagittal_tilt_deg", "sagittal_tilt_change_deg"
    np.testing.assert_allclose(plane[planned], 0, atol=1e-9)
    np.testing.assert_allclose(np.abs(crest[planned]), np.degrees(np.arctan(6 / 45)))
    assert np.abs(crest[planned]).round(1).tolist() == [7.6, 7.6]
    np.testing.assert_allclose(plane[change], np.degrees(np.arctan(0.1)))
    np.testing.assert_allclose(crest[change], plane[change], atol=1e-9)


def test_directions_follow_the_jaw_and_not_the_coordinates_of_the_plan(measured):
    """Plan, result and landmarks turned and moved together measure the same."""
    for table in ("implants", "pairs"):
        one, other = (measured.rows(table, n) for n in ("as is", "tipped"))
        numbers = one.select_dtypes("number").columns
        assert one["jaw_frame_basis"].tolist() == other["jaw_frame_basis"].tolist()
        np.testing.assert_allclose(one[numbers], other[numbers], rtol=0, atol=1e-9)
    assert measured.pair("as is")[["left_foramen_mm", "middle_gap_mm"]].notna().all()


def test_shifts_are_toward_the_midline_forward_and_up_in_the_jaw(measured):
    """The left implant moves 1 to the patient's right, 2 forward and 3 up, in a jaw that
    lies turned by 40 degrees in the plan's coordinates."""
    left = measured.rows("implants", "aslant").iloc[0]
    found = left[["mesial_mm", "facial_mm", "up_mm"]].to_numpy(float)
    np.testing.assert_allclose(found, [1, 2, 3 - 1e-3], atol=1e-9)


def test_midline_distances_come_from_the_midline_mark(measured):
    """Mark 0.5 mm to the left of the plan's zero; asymmetry is left less right."""
    found = measured.pair("midline aside")
    assert found["planned_left_midline_mm"] == pytest.approx(7.5)
    assert found["planned_right_midline_mm"] == pytest.approx(8.5)
    assert found["left_midline_mm"] == pytest.approx(8.5)
    assert found["midline_asymmetry_mm"] == pytest.approx(0)


@pytest.mark.parametrize(("spacing", "degrees"), [(16, 3.6), (22, 2.6)])
def test_one_millimetre_on_one_side_skews_the_fulcrum_line(measured, spacing, degrees):
    """3.6 degrees at 16 mm, 2.6 at 22 (atan(1/16), atan(1/22)); left one forward is +."""
    found = measured.pair(f"skew {spacing}")
    exact = np.degrees(np.arctan(1 / spacing))
    assert found["fulcrum_skew_deg"] == pytest.approx(exact)
    assert round(found["fulcrum_skew_deg"], 1) == degrees
    assert found["planned_fulcrum_skew_deg"] == pytest.approx(0, abs=1e-9)


def test_how_far_forward_the_fulcrum_line_lies_and_its_share_of_the_way(measured):
    """Pads at y 40, entries at -1 and 0, midline mark at -5: 40.5 of 45 mm, so 0.9."""
    found = measured.pair("skew 16")
    assert found["planned_fulcrum_forward_mm"] == pytest.approx(40)
    assert found["fulcrum_forward_mm"] == pytest.approx(40.5)
    assert found["fulcrum_forward_share"] == pytest.approx(0.9)


def test_without_a_midline_mark_what_needs_one_is_missing_and_the_rest_is_not(measured):
    found = measured.pair("no midline")
    assert found["jaw_frame_basis"] == "mean_ridge"
    assert found["fulcrum_forward_mm"] > 39
    missing = ["fulcrum_forward_share", "left_midline_mm", "left_distal_room_mm"]
    assert found[missing].isna().all()


@pytest.mark.parametrize(
    ("name", "gap", "is_noted"), [("gap 14", 3.0, False), ("gap 13", 2.5, True)]
)
def test_the_middle_gap(measured, name, gap, is_noted):
    """(spacing - mean diameter - later diameter) / 2: 14 mm and 4.0 give 3.0 exactly."""
    found = measured.pair(name)
    assert found["middle_gap_mm"] == pytest.approx(gap, abs=1e-9)
    assert found["planned_middle_gap_mm"] == pytest.approx(gap, abs=1e-9)
    note = found["room_note"]
    assert (isinstance(note, str) and "less than the 3.0 mm wanted" in note) == is_noted


def test_a_spacing_wider_than_any_tried_on_the_bench_is_noted(measured):
    """19, 23 and 29 mm were tried (Int J Prosthodont 2006, Michelinakis and Barclay)."""
    assert (
        "30.0 mm apart, more than the 29.0 mm set"
        in (measured.pair("spacing 30")["room_note"])
    )
    assert "apart" not in str(measured.pair("gap 16")["room_note"])


@pytest.mark.parametrize(("site", "room"), [(8, 7.5), (12, 3.5)])
def test_the_distal_room_and_that_it_permits_nothing(measured, site, room):
    """Foramen 25.5 mm from the midline (25.53 left, 25.86 right: PMC5141544).

    25.5 - 8 - 8 - 2 leaves 7.5 mm, 25.5 - 12 - 8 - 2 only 3.5; the loop not taken off.
    """
    found = measured.pair(f"room {site}")
    for side in ("left", "right"):
        for state in ("", "planned_"):
            name = f"{state}{side}_distal_room_mm"
            assert found[name] == pytest.approx(room), name
    assert "advisory" in found["room_note"]
    assert "no distance permits anything" in found["room_note"]
    assert "pass" not in found["room_note"]


@pytest.mark.parametrize("name", FORAMEN)
def test_the_foramen_distance_is_the_shortest_to_the_axis(measured, name):
    """To the stretch from entry to apex, 10 mm long, not to the line beyond it."""
    found = measured.pair(f"foramen {name}")
    assert found["planned_left_foramen_mm"] == pytest.approx(FORAMEN[name][1])
    assert np.isnan(found["planned_right_foramen_mm"])


def test_exchanged_pads_are_held_with_a_sentence(measured):
    assert measured.rows("implants", "exchanged").empty
    with opened(measured.folder) as audit:
        held = audit.run(
            "select case_key, check_id, suggestion from checked.findings"
            " where severity <> 'warn'"
        )
    ((case_key, check_id, suggestion),) = held
    assert case_key == measured.book.code_of("case", "exchanged")
    assert check_id == "jaw-upside-down"
    assert "left_pad and right_pad look exchanged" in suggestion


def test_the_clinic_may_set_the_size_of_a_later_implant(measured, tmp_path):
    """16 mm and 4.2 leave 3.8 mm beside a later implant of 4.2 mm."""
    assert measured.pair("gap 16")["middle_gap_mm"] == pytest.approx(3.9)
    rows = rows_of("gap 16", CASES["gap 16"])["implants"]
    folder = audit_of(tmp_path / "a", {"implants.csv": implants_csv(rows)})
    with (folder / "audit.toml").open("a") as settings:
        settings.write("\n[room]\nlater_diameter_mm = 4.2\n")
    commands.run(folder, "measured", commands.Wishes(), quiet)
    assert Measured(folder).pair("gap 16")["middle_gap_mm"] == pytest.approx(3.8)

"""The jaw's own directions, the fulcrum line and room for later implants: worked examples.

Each example goes through the ordinary doors. Check values are own arithmetic unless a
source stands beside them.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pipeline import commands
from tests.audits import COORDINATES, audit_of, implants_csv, opened, quiet

PADS = {"left_pad": (24, 40, 6), "right_pad": (-24, 40, 6)}
MIDLINE = {"midline": (0, -5, 0)}
FRONT = {"plane_front": (0, -5, 6)}
CREST = {
    f"crest_{n}": p
    for n, p in enumerate([(18, 20, 4), (-18, 20, 4), (10, 0, 2), (-10, 0, 2)], 1)
}
UNMOVED = (np.eye(3), np.zeros(3))


def pair(left, right, *, length=10.0):
    """Entries of both sides; upright axes."""
    ends = np.array([[left, right], [left, right]], float)
    ends[1, :, 2] -= length
    return ends.swapaxes(0, 1)


SITES = pair((8, 0, 0), (-8, 0, 0))


def audit(
    folder,
    *,
    planned=SITES,
    achieved=None,
    marks=None,
    motion=UNMOVED,
    case=None,
    **more,
):
    """One case; ``motion`` moves plan, result and landmarks together."""
    achieved = planned if achieved is None else achieved
    achieved = np.add(
        achieved, [0, 0, -1e-3]
    )  # a result is never its plan to the last digit
    turn, shift = motion
    rows = []
    for i, side in enumerate(("left", "right")):
        points = np.vstack([planned[i], achieved[i]]) @ turn.T + shift
        cells = dict(zip(COORDINATES, map(repr, points.ravel().tolist()), strict=True))
        rows.append(
            {"case_id": "C", "side": side, "achieved_source": "cbct"} | cells | more
        )
    files = {"implants.csv": implants_csv(rows)}
    if marks:
        points = {
            label: turn @ np.array(p, float) + shift for label, p in marks.items()
        }
        files["landmarks.csv"] = implants_csv(
            [
                {"case_id": "C", "label": label, "frame": "plan"}
                | {f"{x}_mm": repr(float(v)) for x, v in zip("xyz", p, strict=True)}
                for label, p in points.items()
            ]
        )
    if case:
        files["cases.csv"] = implants_csv([{"case_id": "C"} | case])
    return audit_of(folder, files)


def rows_of(folder, table, order="all"):
    with opened(folder) as found:
        return found.frame(f"select * from measured.{table} order by {order}")


@pytest.mark.parametrize(
    ("marks", "case", "basis"),
    [
        (
            PADS | MIDLINE | FRONT | CREST,
            {"plan_coordinates_from": "surveyor"},
            "surveyor",
        ),
        (
            PADS | MIDLINE | FRONT | CREST,
            {"plan_coordinates_from": "software"},
            "occlusal_plane",
        ),
        (PADS | MIDLINE | CREST, None, "mean_ridge"),
        (PADS | MIDLINE, None, "pad_to_crest"),
        (MIDLINE, None, "plan_frame"),
        (None, None, "plan_frame"),
    ],
    ids=["surveyor", "plane", "ridge", "crest", "midline only", "nothing"],
)
def test_the_basis_of_the_jaws_directions_is_stored_with_every_figure(
    tmp_path, marks, case, basis
):
    folder = audit(tmp_path / "a", marks=marks, case=case)
    for table in ("implants", "pairs"):
        assert set(rows_of(folder, table)["jaw_frame_basis"]) == {basis}
    notes = rows_of(folder, "implants")["basis_note"].dropna()
    is_named = notes.str.contains("which is not the occlusal plane")
    assert is_named.any() == (basis == "pad_to_crest")


def test_leans_against_the_plane_of_pads_and_crest_are_biased_by_its_slope(tmp_path):
    """6 mm of height over 45 mm: upright implants seem to lean back by 7.6 degrees.

    The occlusal plane gives 0; changes from plan to result are the same in both.
    """
    back = pair((8, 0, 0), (-8, 0, 0))
    back[:, 1] += [0, 1, 0]
    leans, changes = {}, {}
    for name, marks in (("plane", PADS | MIDLINE | FRONT), ("crest", PADS | MIDLINE)):
        rows = rows_of(audit(tmp_path / name, achieved=back, marks=marks), "implants")
        leans[name] = rows["planned_sagittal_tilt_deg"].to_numpy()
        changes[name] = rows["sagittal_tilt_change_deg"].to_numpy()
    np.testing.assert_allclose(leans["plane"], 0, atol=1e-9)
    np.testing.assert_allclose(np.abs(leans["crest"]), np.degrees(np.arctan(6 / 45)))
    assert np.abs(leans["crest"]).round(1).tolist() == [7.6, 7.6]
    np.testing.assert_allclose(changes["plane"], np.degrees(np.arctan(0.1)))
    np.testing.assert_allclose(changes["crest"], changes["plane"], atol=1e-9)


def test_directions_follow_the_jaw_and_not_the_coordinates_of_the_plan(tmp_path):
    """Plan, result and landmarks turned and moved together measure the same."""
    rng = np.random.default_rng(3)
    achieved = SITES + rng.normal(0, 0.7, SITES.shape)
    tipped = Rotation.from_rotvec(np.radians([12, -7, 15])).as_matrix()
    marks = (
        PADS
        | MIDLINE
        | FRONT
        | {"left_foramen": (25.5, 6, -8), "right_foramen": (-25, 5, -8)}
    )
    kept = {}
    for name, motion in (
        ("as is", UNMOVED),
        ("moved", (tipped, np.array([40.0, -12, 9]))),
    ):
        folder = audit(
            tmp_path / name,
            achieved=achieved,
            marks=marks,
            motion=motion,
            diameter_mm=4,
        )
        for table, order in (("implants", "side"), ("pairs", "basis")):
            rows = rows_of(folder, table, order)
            kept[name, table] = rows.drop(columns=["case_key", "patient_key"])
    for table in ("implants", "pairs"):
        one, other = (kept[name, table] for name in ("as is", "moved"))
        numbers = one.select_dtypes("number").columns
        np.testing.assert_allclose(one[numbers], other[numbers], rtol=0, atol=1e-9)
    assert kept["as is", "pairs"]["left_foramen_mm"].notna().all()


def test_shifts_are_toward_the_midline_forward_and_up_in_the_jaw(tmp_path):
    """The left implant moves 1 to the patient's right, 2 forward and 3 up, in a jaw that
    lies turned by 40 degrees in the plan's coordinates."""
    aslant = Rotation.from_rotvec([0, 0, np.radians(40)]).as_matrix()
    achieved = SITES.copy()
    achieved[0] += [-1, -2, 3]
    folder = audit(
        tmp_path / "a",
        achieved=achieved,
        marks=PADS | MIDLINE | FRONT,
        motion=(aslant, np.zeros(3)),
    )
    left = rows_of(folder, "implants", "side").iloc[0]
    found = left[["mesial_mm", "facial_mm", "up_mm"]].to_numpy(float)
    np.testing.assert_allclose(found, [1, 2, 3 - 1e-3], atol=1e-9)


def test_midline_distances_come_from_the_midline_mark(tmp_path):
    """Mark 0.5 mm to the left of the plan's zero; asymmetry is left less right."""
    achieved = pair((9, 0, 0), (-8, 0, 0))
    marks = {
        "left_pad": (24.5, 40, 6),
        "right_pad": (-23.5, 40, 6),
        "midline": (0.5, -5, 0),
    }
    pairs = rows_of(
        audit(tmp_path / "a", achieved=achieved, marks=marks), "pairs"
    ).iloc[0]
    assert pairs["planned_left_midline_mm"] == pytest.approx(7.5)
    assert pairs["planned_right_midline_mm"] == pytest.approx(8.5)
    assert pairs["left_midline_mm"] == pytest.approx(8.5)
    assert pairs["midline_asymmetry_mm"] == pytest.approx(0)
    nothing = rows_of(audit(tmp_path / "b", achieved=achieved), "pairs").iloc[0]
    assert np.isnan(nothing["left_midline_mm"])


@pytest.mark.parametrize(("apart", "degrees"), [(16, 3.6), (22, 2.6)])
def test_one_millimetre_on_one_side_skews_the_fulcrum_line(tmp_path, apart, degrees):
    """1 mm: 3.6 degrees at 16 mm and 2.6 at 22 (atan(1/16), atan(1/22)); left forward +."""
    planned = pair((apart / 2, 0, 0), (-apart / 2, 0, 0))
    achieved = planned.copy()
    achieved[0] += [0, -1, 0]
    pairs = rows_of(
        audit(
            tmp_path / "a",
            planned=planned,
            achieved=achieved,
            marks=PADS | MIDLINE | FRONT,
        ),
        "pairs",
    ).iloc[0]
    assert pairs["fulcrum_skew_deg"] == pytest.approx(np.degrees(np.arctan(1 / apart)))
    assert round(pairs["fulcrum_skew_deg"], 1) == degrees
    assert pairs["planned_fulcrum_skew_deg"] == pytest.approx(0, abs=1e-9)


def test_how_far_forward_the_fulcrum_line_lies_and_its_share_of_the_way(tmp_path):
    """Pads at y 40, entries at 0 and -1, midline mark at -5: 40.5 of 45 mm, so 0.9."""
    achieved = pair((8, -1, 0), (-8, 0, 0))
    pairs = rows_of(
        audit(tmp_path / "a", achieved=achieved, marks=PADS | MIDLINE | FRONT), "pairs"
    ).iloc[0]
    assert pairs["planned_fulcrum_forward_mm"] == pytest.approx(40)
    assert pairs["fulcrum_forward_mm"] == pytest.approx(40.5)
    assert pairs["fulcrum_forward_share"] == pytest.approx(0.9)
    ridge = PADS | CREST
    pairs = rows_of(audit(tmp_path / "b", marks=ridge), "pairs").iloc[0]
    assert pairs["fulcrum_forward_mm"] > 39
    assert np.isnan(pairs["fulcrum_forward_share"])
    assert np.isnan(pairs["left_midline_mm"])


@pytest.mark.parametrize(
    ("apart", "diameter", "later", "gap", "is_noted"),
    [
        (14, 4.0, None, 3.0, False),
        (16, 4.2, 4.2, 3.8, False),
        (13, 4.0, None, 2.5, True),
    ],
)
def test_the_middle_gap(tmp_path, apart, diameter, later, gap, is_noted):
    """(spacing - mean diameter - later diameter) / 2: 14 mm and 4.0 give 3.0 exactly."""
    planned = pair((apart / 2, 0, 0), (-apart / 2, 0, 0))
    folder = audit(tmp_path / "a", planned=planned, diameter_mm=diameter)
    if later:
        with (folder / "audit.toml").open("a") as settings:
            settings.write(f"\n[room]\nlater_diameter_mm = {later}\n")
        commands.run(folder, "measured", commands.Wishes(), quiet)
    pairs = rows_of(folder, "pairs").iloc[0]
    assert pairs["middle_gap_mm"] == pytest.approx(gap, abs=1e-9)
    assert pairs["planned_middle_gap_mm"] == pytest.approx(gap, abs=1e-9)
    note = pairs["room_note"]
    assert (isinstance(note, str) and "less than the 3.0 mm wanted" in note) == is_noted


@pytest.mark.parametrize(("site", "room"), [(8, 7.5), (12, 3.5)])
def test_the_distal_room(tmp_path, site, room):
    """Foramen 25.5 mm from the midline (25.53 left, 25.86 right: PMC5141544).

    25.5 - 8 - 8 - 2 leaves 7.5 mm, 25.5 - 12 - 8 - 2 only 3.5; the loop not taken off.
    """
    marks = (
        PADS
        | MIDLINE
        | FRONT
        | {"left_foramen": (25.5, 6, -8), "right_foramen": (-25.5, 6, -8)}
    )
    planned = pair((site, 0, 0), (-site, 0, 0))
    pairs = rows_of(audit(tmp_path / "a", planned=planned, marks=marks), "pairs").iloc[
        0
    ]
    for side in ("left", "right"):
        for state in ("", "planned_"):
            assert pairs[f"{state}{side}_distal_room_mm"] == pytest.approx(room)
    assert "advisory" in pairs["room_note"]
    assert "no distance permits anything" in pairs["room_note"]
    assert "pass" not in pairs["room_note"].replace("passage", "")


@pytest.mark.parametrize(
    ("foramen", "distance"),
    [((12, 0, -5), 4.0), ((11, 4, 0), 5.0), ((8, 3, -14), 5.0), ((8, 0, 6), 6.0)],
    ids=[
        "beside the axis",
        "level with the entry",
        "below the apex",
        "above the entry",
    ],
)
def test_the_foramen_distance_is_the_shortest_to_the_axis(tmp_path, foramen, distance):
    """To the stretch from entry to apex, 10 mm long, not to the line beyond it."""
    marks = PADS | MIDLINE | FRONT | {"left_foramen": foramen}
    pairs = rows_of(audit(tmp_path / "a", marks=marks), "pairs").iloc[0]
    assert pairs["planned_left_foramen_mm"] == pytest.approx(distance)
    assert np.isnan(pairs["planned_right_foramen_mm"])


def test_exchanged_pads_are_held_with_a_sentence(tmp_path):
    wrong = {"left_pad": PADS["right_pad"], "right_pad": PADS["left_pad"]}
    folder = audit(tmp_path / "a", marks=wrong | MIDLINE | FRONT)
    with opened(folder) as found:
        said = found.run(
            "select check_id, suggestion from checked.findings where severity = 'hold'"
        )
        assert found.value("select count(*) from measured.implants") == 0
    assert [check for check, _ in said] == ["jaw-upside-down"]
    assert "left_pad and right_pad look exchanged" in said[0][1]

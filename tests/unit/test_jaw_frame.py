"""The jaw's own directions: which basis is taken, and what they are."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pipeline.geometry.jaw_frame import BASES, JawLandmarks, jaw_frames

LEFT_PAD, RIGHT_PAD = [24.0, 40, 6], [-24.0, 40, 6]
MIDLINE, PLANE_FRONT = [0.0, -5, 0], [0.0, -5, 6]
CREST = [[18.0, 20, 4], [-18, 20, 4], [10, 0, 2], [-10, 0, 2]]
NOTHING = [np.nan] * 3


def marks(**held):
    """One jaw; landmarks that are not named are not held."""
    points = {
        name: np.array([held.get(name, NOTHING)], float)
        for name in ("left_pad", "right_pad", "midline", "plane_front")
    }
    crest = np.array([held.get("crest", np.full((4, 3), np.nan))], float)
    surveyor = np.array([held.get("is_surveyor", False)])
    return JawLandmarks(**points, crest=crest, is_surveyor=surveyor)


PADS = {"left_pad": LEFT_PAD, "right_pad": RIGHT_PAD}
EVERYTHING = {**PADS, "midline": MIDLINE, "plane_front": PLANE_FRONT, "crest": CREST}


def frame(**held):
    return jaw_frames(marks(**held))


@pytest.mark.parametrize(
    ("held", "basis"),
    [
        ({**EVERYTHING, "is_surveyor": True}, "surveyor"),
        ({"is_surveyor": True}, "surveyor"),
        (EVERYTHING, "occlusal_plane"),
        ({**PADS, "crest": CREST, "midline": MIDLINE}, "mean_ridge"),
        ({**PADS, "crest": CREST}, "mean_ridge"),
        ({**PADS, "midline": MIDLINE}, "pad_to_crest"),
        (PADS, "plan_frame"),
        ({"midline": MIDLINE, "plane_front": PLANE_FRONT}, "plan_frame"),
        ({"left_pad": LEFT_PAD, "midline": MIDLINE}, "plan_frame"),
        ({}, "plan_frame"),
    ],
)
def test_the_first_basis_the_landmarks_allow_is_taken(held, basis):
    assert basis in BASES
    assert frame(**held).basis.tolist() == [basis]


def test_without_landmarks_the_plans_own_directions_stay_to_the_last_digit():
    found = frame()
    np.testing.assert_array_equal(found.axes[0], np.eye(3))
    np.testing.assert_array_equal(found.origin[0], np.zeros(3))
    assert not found.is_midline_known[0]
    assert np.isnan(found.pad_line_back_mm[0])


def test_pads_level_with_the_front_of_the_plane_give_the_plans_directions():
    found = frame(**EVERYTHING)
    np.testing.assert_allclose(found.axes[0], np.eye(3), atol=1e-12)
    np.testing.assert_allclose(found.origin[0], MIDLINE)
    assert found.pad_line_back_mm[0] == pytest.approx(45)


def test_a_crest_six_millimetres_below_the_pads_biases_forward_leans():
    """1.3 degrees for each mm over 45 mm; 6 mm give 7.6 (own arithmetic: atan(6/45)).

    The sagittal lean of an upright implant reads that much too far forward or back when
    up is square to the plane through pads and crest.
    """
    found = frame(**PADS, midline=MIDLINE)
    up = found.axes[0, 2]
    lean = np.degrees(np.arctan2(up[1], up[2]))
    assert lean == pytest.approx(-np.degrees(np.arctan(6 / 45)), abs=1e-9)
    assert lean == pytest.approx(-7.6, abs=0.05)
    assert found.up_lean_deg[0] == pytest.approx(7.595, abs=0.001)
    one = frame(left_pad=[24, 40, 1], right_pad=[-24, 40, 1], midline=MIDLINE)
    assert one.up_lean_deg[0] == pytest.approx(1.3, abs=0.05)


def test_the_mean_ridge_is_the_slope_of_the_crest_seen_from_the_side():
    """Points on a line that falls 1 in 10 toward the front, whatever their x."""
    crest = [[x, y, 3 + y / 10] for x, y in ((20, 25), (-18, 30), (9, 0), (-7, -4))]
    up = frame(**PADS, crest=crest).axes[0, 2]
    np.testing.assert_allclose(up, np.array([0, -0.1, 1]) / np.hypot(0.1, 1), atol=1e-9)


@pytest.mark.parametrize(
    "crest",
    [
        CREST[:3],
        [[4, -5, 0], [-4, -5, 0.5], [7, -3, 0], [-7, -3, 0.0]],
        [[18, 20, 0], [-18, 20, 20], [10, 0, 20], [-10, 0, 0.0]],
    ],
    ids=["three points", "all in front", "no line"],
)
def test_crest_points_that_show_no_line_are_not_used(crest):
    padded = np.full((4, 3), np.nan)
    padded[: len(crest)] = crest
    assert frame(**PADS, crest=padded).basis.tolist() == ["plan_frame"]


def test_the_surveyor_keeps_its_spindle_and_takes_sideways_from_the_pads():
    found = frame(
        left_pad=[24, 43, 9], right_pad=[-24, 37, 1], midline=MIDLINE, is_surveyor=True
    )
    left, back, up = found.axes[0]
    np.testing.assert_allclose(up, [0, 0, 1])
    np.testing.assert_allclose(left, np.array([48, 6, 0]) / np.hypot(48, 6))
    np.testing.assert_allclose(np.cross(left, back), up, atol=1e-12)


def test_exchanged_pads_turn_up_into_down_and_can_be_seen():
    found = frame(left_pad=RIGHT_PAD, right_pad=LEFT_PAD, plane_front=PLANE_FRONT)
    assert found.up_lean_deg[0] == pytest.approx(180)


def test_pads_a_few_millimetres_apart_give_no_direction():
    held = {"left_pad": [4, 40, 0], "right_pad": [-4, 40, 0], "midline": MIDLINE}
    assert frame(**held).basis.tolist() == ["plan_frame"]


def test_without_a_midline_mark_the_front_of_the_plane_then_the_pads_give_the_origin():
    found = frame(**PADS, plane_front=PLANE_FRONT)
    np.testing.assert_array_equal(found.origin[0], PLANE_FRONT)
    assert found.is_midline_known[0]
    found = frame(**PADS, crest=CREST)
    np.testing.assert_array_equal(found.origin[0], [0, 40, 6])
    assert not found.is_midline_known[0]
    assert found.pad_line_back_mm[0] == pytest.approx(0)


@pytest.mark.parametrize(
    "left_out",
    [(), ("plane_front",), ("plane_front", "crest")],
    ids=["occlusal_plane", "mean_ridge", "pad_to_crest"],
)
def test_the_frame_goes_with_the_jaw_wherever_its_coordinates_begin(left_out):
    """Turning and moving all landmarks turns and moves the frame, and nothing else."""
    rng = np.random.default_rng(5)
    held = {name: p for name, p in EVERYTHING.items() if name not in left_out}
    held = {n: np.array(p) + rng.normal(0, 1, np.shape(p)) for n, p in held.items()}
    turn = Rotation.from_rotvec([0.4, -0.2, 0.7]).as_matrix()
    shift = np.array([12.0, -40, 7])
    before = frame(**held)
    after = frame(**{name: p @ turn.T + shift for name, p in held.items()})
    assert before.basis == after.basis
    np.testing.assert_allclose(after.axes[0], before.axes[0] @ turn.T, atol=1e-9)
    point = rng.normal(0, 20, (1, 5, 3))
    np.testing.assert_allclose(
        after.inside(point @ turn.T + shift), before.inside(point), atol=1e-9
    )
    np.testing.assert_allclose(after.pad_line_back_mm, before.pad_line_back_mm)

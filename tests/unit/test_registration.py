"""When a superimposition is refused, and what comes back in its place."""

import numpy as np
import pytest

from pipeline.geometry.propagation import motion_error, tre_mm
from pipeline.geometry.registration import (
    LEAST_SPREAD_MM,
    leave_one_out,
    register,
)

JAW = np.array([[24, 40, 4], [-24, 40, 4], [0, -5, 0], [10, 0, 8.0]])


def test_two_points_are_too_few_and_say_so():
    found = register(JAW[None, :2], JAW[None, :2])
    assert found.refusal.tolist() == ["too_few"]
    assert np.isnan(found.rotation).all()
    assert np.isnan(found.fre_mm).all()


def test_a_case_without_any_point_is_too_few_not_a_crash():
    nothing = np.full((1, 3, 3), np.nan)
    found = register(nothing, nothing, mask=np.zeros((1, 3), bool))
    assert found.refusal.tolist() == ["too_few"]
    assert found.count_points.tolist() == [0]


@pytest.mark.parametrize(
    ("off_line_mm", "refusal"), [(0.0, "near_line"), (1.9, "near_line"), (2.1, "")]
)
def test_points_nearly_on_a_line_are_refused(off_line_mm, refusal):
    """Four points, two of them off the line both ways: the second spread is known."""
    off = off_line_mm * np.sqrt(2)
    line = np.array([[-20, 0, 0], [20, 0, 0], [0, off, 0], [0, -off, 0.0]])
    found = register(line[None], line[None])
    assert found.second_spread_mm[0] == pytest.approx(off_line_mm, abs=1e-6)
    assert (found.second_spread_mm[0] < LEAST_SPREAD_MM) == bool(refusal)
    assert found.refusal.tolist() == [refusal]


def test_a_scan_whose_points_fall_on_one_place_is_refused_though_the_plan_is_wide():
    found = register(JAW[None], np.zeros((1, 4, 3)))
    assert found.refusal.tolist() == ["near_line"]


def test_one_refused_case_leaves_the_others_alone():
    plan = np.stack([JAW, JAW * [1, 0, 0], JAW + 5])
    found = register(plan, np.stack([JAW] * 3))
    assert found.is_refused.tolist() == [False, True, False]
    np.testing.assert_allclose(found.translation[2], [5, 5, 5])


def test_a_point_of_weight_nought_counts_as_absent():
    wrong = JAW.copy()
    wrong[3] += 30
    weights = np.array([[1, 1, 1, 0.0]])
    found = register(JAW[None], wrong[None], weights)
    assert found.count_points.tolist() == [3]
    assert found.fre_mm[0] < 1e-9


@pytest.mark.parametrize("wrong_one", range(4))
def test_the_point_that_is_wrong_is_named_though_others_lie_farther_off(wrong_one):
    """Without a blunder of 6 mm the other points agree; its own distance comes back."""
    wrong = JAW.copy()
    wrong[wrong_one] += [2, 4, 4]
    found = leave_one_out(JAW[None], wrong[None])
    assert found.worst().tolist() == [wrong_one]
    assert found.distance_mm[0, wrong_one] == pytest.approx(6, abs=1e-9)


def test_three_points_cannot_check_each_other():
    found = leave_one_out(JAW[None, :3], JAW[None, :3])
    assert np.isnan(found.distance_mm).all()
    assert found.worst().tolist() == [-1]


def test_shapes_that_do_not_agree_and_negative_weights_are_refused():
    with pytest.raises(ValueError, match="both"):
        register(JAW[None], JAW[None, :3])
    with pytest.raises(ValueError, match="cases, points"):
        register(JAW[None], JAW[None], np.ones(4))
    with pytest.raises(ValueError, match="below 0"):
        register(JAW[None], JAW[None], -np.ones((1, 4)))


def test_a_motion_left_free_has_no_error_rather_than_a_huge_one():
    line = np.array([[[-20, 0, 0], [20, 0, 0], [0, 0, 0.0]]])
    error = motion_error(line, np.full((1, 3), 0.1))
    assert np.isnan(tre_mm(error, np.zeros((1, 1, 3)))).all()
    empty = motion_error(line, np.full((1, 3), 0.1), mask=np.zeros((1, 3), bool))
    assert np.isnan(empty.covariance).all()

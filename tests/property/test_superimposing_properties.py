"""Superimposing: agreement with scipy, and what must hold for all points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pipeline.geometry.propagation import (
    MODES,
    axis_sd_deg,
    mode_variances,
    motion_error,
    tre_mm,
)
from pipeline.geometry.registration import leave_one_out, register

N_CASES = 200


@pytest.fixture(scope="module")
def cases():
    """Six points a jaw with noise, in two frames, weights, and which are there."""
    rng = np.random.default_rng(20261125)
    plan = rng.normal(0, [20, 15, 6], (N_CASES, 6, 3))
    turn = Rotation.random(N_CASES, rng=rng).as_matrix()
    shift = rng.normal(0, 60, (N_CASES, 1, 3))
    scan = plan @ turn.transpose(0, 2, 1) + shift + rng.normal(0, 0.5, plan.shape)
    weights = rng.uniform(0.2, 5, (N_CASES, 6))
    mask = np.arange(6) < rng.integers(4, 7, (N_CASES, 1))
    return plan, scan, weights, mask


@pytest.mark.parametrize("is_weighted", [False, True], ids=["equal", "weighted"])
def test_motions_agree_with_scipy_to_a_billionth(cases, is_weighted):
    """Reference: scipy.spatial.transform.Rotation.align_vectors, centred by hand."""
    plan, scan, weights, mask = cases
    weights = weights if is_weighted else np.ones_like(weights)
    found = register(plan, scan, weights, mask)
    for i in range(N_CASES):
        p, s, w = (part[i][mask[i]] for part in (plan, scan, weights))
        p_mean, s_mean = (np.average(x, axis=0, weights=w) for x in (p, s))
        reference, rssd = Rotation.align_vectors(p - p_mean, s - s_mean, weights=w)
        matrix = reference.as_matrix()
        np.testing.assert_allclose(found.rotation[i], matrix, rtol=0, atol=1e-9)
        np.testing.assert_allclose(
            found.translation[i], p_mean - matrix @ s_mean, rtol=0, atol=1e-8
        )
        left = p - s @ matrix.T - (p_mean - matrix @ s_mean)
        fre = np.sqrt(np.mean(np.sum(left**2, axis=1)))
        assert found.fre_mm[i] == pytest.approx(fre, abs=1e-9)
        assert found.weighted_ss_mm2[i] == pytest.approx(rssd**2, abs=1e-8)


def test_the_misfit_of_the_mirror_image_is_what_turning_one_frame_over_leaves(cases):
    plan, scan, weights, mask = cases
    found = register(plan, scan, weights, mask)
    turned_over = register(plan, scan * [1, 1, -1], weights, mask)
    total = np.where(mask, weights, 0).sum(axis=1)
    expected = np.sqrt(turned_over.weighted_ss_mm2 / total)
    np.testing.assert_allclose(found.mirrored_fre_mm, expected, rtol=0, atol=1e-6)


def test_what_stands_where_no_point_is_changes_nothing(cases):
    plan, scan, weights, mask = cases
    found = register(plan, scan, weights, mask)
    junk = np.where(mask[..., None], plan, np.nan)
    again = register(junk, np.where(mask[..., None], scan, 1e9), weights, mask)
    np.testing.assert_array_equal(found.rotation, again.rotation)
    np.testing.assert_array_equal(found.translation, again.translation)


def test_moving_there_and_back_ends_where_it_began(cases):
    plan, scan, _, _ = cases
    found = register(plan, scan)
    np.testing.assert_allclose(
        found.moved_back(found.moved(scan)), scan, rtol=0, atol=1e-10
    )


def test_each_left_out_point_is_compared_with_a_fit_of_the_others(cases):
    plan, scan, weights, mask = cases
    found = leave_one_out(plan, scan, weights, mask)
    for i in range(0, N_CASES, 20):
        for point in np.flatnonzero(mask[i]):
            others = mask[i].copy()
            others[point] = False
            p, s, w = (part[i][others][None] for part in (plan, scan, weights))
            fit = register(p, s, w)
            there = fit.moved(scan[[i]][:, [point]])[0, 0]
            expected = np.linalg.norm(plan[i, point] - there)
            assert found.distance_mm[i, point] == pytest.approx(expected, abs=1e-9)
            assert found.others_fre_mm[i, point] == pytest.approx(fit.fre_mm[0])
    assert np.isnan(found.distance_mm[~mask]).all()


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.integers(3, 8))
def test_moving_both_frames_changes_neither_misfit_nor_expected_error(seed, count):
    """What a case's points say does not depend on the coordinates they came in."""
    rng = np.random.default_rng(seed)
    plan = rng.normal(0, [20, 15, 8], (1, count, 3))
    scan = plan + rng.normal(0, 0.4, plan.shape)
    target = rng.normal(0, 20, (1, 2, 3))
    axis = rng.normal(0, 1, (1, 2, 3))
    axis /= np.linalg.norm(axis, axis=2, keepdims=True)
    variances = rng.uniform(0.01, 0.5, (1, count))
    weights = rng.uniform(0.5, 2, (1, count))
    turn = Rotation.random(rng=rng).as_matrix()
    shift = rng.normal(0, 100, 3)

    def figures(p, s, t, u):
        fit = register(p, s, weights)
        error = motion_error(p, variances, weights)
        return np.concatenate(
            [
                fit.fre_mm,
                fit.mirrored_fre_mm,
                fit.singular_values_mm[0],
                tre_mm(error, t)[0],
                axis_sd_deg(error, u)[0],
                leave_one_out(p, s, weights).distance_mm[0],
            ]
        )

    before = figures(plan, scan, target, axis)
    after = figures(
        plan @ turn.T + shift,
        scan @ turn + shift[::-1],
        target @ turn.T + shift,
        axis @ turn.T,
    )
    np.testing.assert_allclose(after, before, rtol=1e-6, atol=1e-5)


def test_weights_that_are_reciprocal_variances_leave_the_least_error(cases):
    """With w = 1/s^2 the covariance is the inverse of sum w J'J; others are larger."""
    plan, _, weights, _ = cases
    best = motion_error(plan, 1 / weights, weights)
    equal = motion_error(plan, 1 / weights)
    target = np.zeros((N_CASES, 1, 3))
    assert (tre_mm(best, target) <= tre_mm(equal, target) + 1e-12).all()
    identity = np.eye(3)
    for i in range(0, N_CASES, 40):
        off = plan[i] - best.centre[i]
        jacobians = [
            np.hstack([identity, -np.cross(identity, r, axisb=0).T]) for r in off
        ]
        information = sum(
            w * j.T @ j for w, j in zip(weights[i], jacobians, strict=True)
        )
        np.testing.assert_allclose(
            best.covariance[i] @ information, np.eye(6), atol=1e-9
        )


def test_the_ten_modes_hold_exactly_the_error_of_the_four_points_of_a_pair(cases):
    """4 shift^2 + L^2 pitch^2 + W^2 yaw^2 + (L^2 + W^2) roll^2 = sum of four tre^2.

    An upright parallel pair, L long and W apart; the weights of the modes are those of
    the squared error of the four points, which they add up to exactly.
    """
    plan, _, weights, mask = cases
    length, width = 12.0, 22.0
    error = motion_error(plan, 0.1 / weights, weights, mask)
    centre = np.array([3.0, -2.0, -5.0])
    corners = np.array(
        [[s * width / 2, 0, t * length / 2] for s in (1, -1) for t in (1, -1)]
    )
    four = np.broadcast_to(centre + corners, (N_CASES, 4, 3))
    axes = np.broadcast_to(np.eye(3), (N_CASES, 3, 3))
    modes = mode_variances(error, np.broadcast_to(centre, (N_CASES, 3)), axes)
    assert tuple(modes) == MODES
    total = (
        4 * (modes["shift_left"] + modes["shift_back"] + modes["shift_up"])
        + length**2 * modes["pitch"]
        + width**2 * modes["yaw"]
        + (length**2 + width**2) * modes["roll"]
    )
    np.testing.assert_allclose(total, np.sum(tre_mm(error, four) ** 2, axis=1))
    assert all((modes[name] == 0).all() for name in MODES[6:])

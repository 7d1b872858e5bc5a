"""The expected error of a superimposition is the error it has: simulation, within 3 %.

Points of a lower jaw in the usual places, 40,000 draws a cell. The expected values are
never told to the simulation; it superimposes noisy points and looks where things land.
"""

import numpy as np
import pytest

from pipeline.geometry.propagation import (
    axis_sd_deg,
    axis_sd_in_plane_deg,
    mode_variances,
    motion_error,
    pooled_fle,
    tre_mm,
)
from pipeline.geometry.registration import register

DRAWS = 40_000
WITHIN = 0.03

PADS_AND_MIDLINE = [[24, 40, 4], [-24, 40, 4], [0, -5, 0]]
SIX = [*PADS_AND_MIDLINE, [16, 5, 1], [-16, 5, 2], [0, -8, 12]]
FRONT = [[15, 0, 0], [-15, 0, 2], [8, -8, 6], [-8, -8, 0]]
ENTRIES = np.array([[8.0, -2, 0], [-8.0, -2, 0]])
APICES = ENTRIES - [0, 0, 12]
AXES = np.broadcast_to([0.0, 0, -1], (2, 3))

CELLS = {
    # soft pads 0.6 mm, hard markers 0.15 mm per coordinate; weights 1/variance, equal, odd
    "weighted": (SIX[:2] + SIX[3:], [0.6, 0.6, 0.15, 0.15, 0.15], "best"),
    "unweighted, unequal errors": (
        SIX[:2] + SIX[3:],
        [0.6, 0.6, 0.15, 0.15, 0.15],
        "equal",
    ),
    "weights that do not fit the errors": (SIX, [0.3, 0.3, 0.2, 0.5, 0.1, 0.3], "odd"),
    "unweighted, six": (SIX, [0.3] * 6, "equal"),
    "unweighted, pads and midline": (PADS_AND_MIDLINE, [0.3] * 3, "equal"),
    "unweighted, four in front": (FRONT, [0.29] * 4, "equal"),
}


def weights_of(kind, sds):
    odd = np.linspace(0.5, 3, len(sds))
    return {"best": 1 / sds**2, "equal": np.ones(len(sds)), "odd": odd}[kind]


@pytest.fixture(scope="module", params=CELLS, ids=CELLS.keys())
def cell(request):
    points, sds, kind = CELLS[request.param]
    plan, sds = np.array(points, float), np.array(sds)
    weights = weights_of(kind, sds)
    rng = np.random.default_rng(20261125)
    scan = plan + sds[:, None] * rng.normal(size=(DRAWS, *plan.shape))
    many = np.broadcast_to(plan, scan.shape)
    found = register(many, scan, np.broadcast_to(weights, scan.shape[:2]))
    error = motion_error(plan[None], sds[None] ** 2, weights[None])
    return found, error


def rms(values):
    return np.sqrt(np.mean(np.square(values), axis=0))


def moved(found, points):
    return found.moved(np.broadcast_to(points, (DRAWS, *points.shape)))


def test_position_error_at_entry_and_apex(cell):
    found, error = cell
    for points in (ENTRIES, APICES):
        seen = rms(np.linalg.norm(moved(found, points) - points, axis=2))
        np.testing.assert_allclose(tre_mm(error, points[None])[0], seen, rtol=WITHIN)


def test_axis_error_in_all_and_in_each_plane(cell):
    found, error = cell
    turned = AXES @ found.rotation.transpose(0, 2, 1)
    upright = -turned[..., 2]
    angle = np.arctan2(np.hypot(turned[..., 0], turned[..., 1]), upright)
    seen = np.degrees(rms(angle))
    np.testing.assert_allclose(axis_sd_deg(error, AXES[None])[0], seen, rtol=WITHIN)
    for k in (0, 1):
        seen = np.degrees(rms(np.arctan2(turned[..., k], upright)))
        across = np.broadcast_to(np.eye(3)[k], (1, 2, 3))
        expected = axis_sd_in_plane_deg(error, AXES[None], across)[0]
        np.testing.assert_allclose(expected, seen, rtol=WITHIN)


def test_the_six_rigid_numbers_of_a_pair(cell):
    """Shifts of the pair's middle; turns as the lean of the axes and the yaw."""
    found, error = cell
    middle = (ENTRIES.mean(0) + APICES.mean(0)) / 2
    shift = rms(moved(found, middle[None])[:, 0] - middle)
    variance = mode_variances(error, middle[None], np.eye(3)[None])
    expected = [variance[f"shift_{way}"][0] for way in ("left", "back", "up")]
    np.testing.assert_allclose(np.sqrt(expected), shift, rtol=WITHIN)
    ends = moved(found, ENTRIES)
    between = ends[:, 0] - ends[:, 1]
    turns = {
        "roll": found.rotation[:, 0, 2],  # the upper end leans left
        "pitch": -found.rotation[:, 1, 2],  # the upper end leans forward
        "yaw": np.arctan2(between[:, 1], between[:, 0]),  # left one goes back
    }
    for name, turn in turns.items():
        assert np.sqrt(variance[name][0]) == pytest.approx(rms(turn), rel=WITHIN)


def test_the_pool_finds_the_error_of_a_point_of_weight_one():
    """Weights of two readings against one; 500 audits of 10 cases."""
    rng = np.random.default_rng(20261125)
    plan = np.broadcast_to(np.array(SIX, float), (5000, 6, 3))
    weights = np.where(np.arange(6) < 3, 2.0, 1.0) * np.ones((5000, 6))
    noise = rng.normal(size=plan.shape) * 0.4 / np.sqrt(weights)[..., None]
    found = register(plan, plan + noise, weights)
    audits = np.repeat(np.arange(500), 10)
    pool = pooled_fle(found.weighted_ss_mm2, found.count_points, audits, 500)
    assert (pool.degrees_of_freedom == 120).all()
    assert rms(pool.fle_mm) == pytest.approx(0.4 * np.sqrt(3), rel=0.01)


def test_a_pool_without_spare_points_is_not_used():
    """One case of three points has 3 spare numbers of the 20 that are asked for."""
    pool = pooled_fle(np.array([0.1, 0.2]), np.array([3, 6]), np.array([0, 2]), 3)
    assert pool.degrees_of_freedom.tolist() == [3, 0, 12]
    assert np.isnan(pool.fle_mm).tolist() == [False, True, False]
    assert not pool.is_enough.any()

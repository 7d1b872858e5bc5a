"""Superimposing against worked examples of the literature and closed forms.

Sources stand beside each check. "From memory" means that the formula is known and was
reproduced by simulation; its text was not read again.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pipeline.geometry.propagation import motion_error, pooled_fle, tre_mm
from pipeline.geometry.registration import register

CORNER = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10.0]])
QUARTER_TURN = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]])
RECTANGLE = np.array([[0, 0, 0], [40, 0, 0], [40, 30, 0], [0, 30, 0.0]])
TRIANGLE = np.array([[0, 0, 0], [40, 0, 0], [20, 30, 0.0]])
SIX = np.vstack([RECTANGLE, [[20, 15, 15], [20, 15, -15.0]]])
BELOW = np.array([20, 15, -20.0])
FLE2 = 0.25
"""Squared localisation error in mm2, in total over three axes."""


def one(plan, scan):
    return register(plan[None], scan[None])


def simulated(points, target, count=40_000):
    """Misfit and position error of many noisy copies of one set of points."""
    rng = np.random.default_rng(20240601)
    noise = rng.normal(0, np.sqrt(FLE2 / 3), (count, *points.shape))
    noisy = points + noise
    found = register(noisy, np.broadcast_to(points, noisy.shape))
    target = np.broadcast_to(target, (count, 1, 3))
    error = np.linalg.norm(found.moved(target) - target, axis=2)[:, 0]
    return found.fre_mm, error


def expected_tre(points, target, fle2=FLE2):
    variance = np.full((1, len(points)), fle2 / 3)
    error = motion_error(points[None], variance)
    return tre_mm(error, np.reshape(target, (1, 1, 3))).item()


def test_the_printed_example_that_invites_a_mirror_is_solved_without_one():
    """Umeyama 1991, IEEE PAMI 13:376: R, t and scale .721 as printed (5e-4).

    Enlarged a hundredfold, because points 1 mm apart are refused. Two points far in
    front of and behind the plane's middle keep the plane from being turned over, so that
    the flat example has the same answer in space. The scale, which we never fit, is
    applied to the points beforehand.
    """
    flat_scan = 100 * np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0.0]])
    flat_plan = 100 * np.array([[0, 0, 0], [-1, 0, 0], [0, 2, 0.0]])
    scale = 0.7211102551
    out = np.array([[0, 0, 9999], [0, 0, -9999.0]])
    scan = np.vstack([scale * flat_scan, scale * flat_scan.mean(0) + out])
    plan = np.vstack([flat_plan, flat_plan.mean(0) + out])
    found = one(plan, scan)
    printed = [[0.832, 0.555, 0], [-0.555, 0.832, 0], [0, 0, 1]]
    np.testing.assert_allclose(found.rotation[0], printed, atol=5e-4)
    np.testing.assert_allclose(found.translation[0] / 100, [-0.8, 0.4, 0], atol=5e-7)
    # the .516 sometimes quoted is over coordinates; our misfit is of point distances
    squares = np.sum((found.residuals[0, :3] / 100) ** 2, axis=1)
    assert np.sqrt(squares.mean()) == pytest.approx(np.sqrt(8 / 15), abs=1e-9)
    assert np.sqrt(squares.sum() / 6) == pytest.approx(0.516, abs=5e-4)


def test_an_exact_motion_is_found_again():
    """Own worked example: a quarter turn about z and a shift of (1, 2, 3)."""
    found = one(CORNER @ QUARTER_TURN.T + [1, 2, 3], CORNER)
    np.testing.assert_allclose(found.rotation[0], QUARTER_TURN, atol=1e-12)
    np.testing.assert_allclose(found.translation[0], [1, 2, 3], atol=1e-12)
    assert found.fre_mm[0] < 1e-12


def test_misfit_and_turn_of_the_disturbed_example():
    """Own worked example, pinned; scipy Rotation.align_vectors gives the same."""
    by = [[0.1, 0, 0], [0, -0.1, 0], [0, 0, 0.1], [-0.1, 0.1, -0.1]]
    plan = CORNER @ QUARTER_TURN.T + [1, 2, 3] + by
    found = one(plan, CORNER)
    reference, rssd = Rotation.align_vectors(plan - plan.mean(0), CORNER - 2.5)
    np.testing.assert_allclose(found.rotation[0], reference.as_matrix(), atol=1e-12)
    assert found.fre_mm[0] == pytest.approx(rssd / 2, abs=1e-12)
    assert found.fre_mm[0] == pytest.approx(0.1150127695, abs=5e-9)
    turn = Rotation.from_matrix(found.rotation[0] @ QUARTER_TURN.T).magnitude()
    assert np.degrees(turn) == pytest.approx(0.4141504946, abs=5e-9)


def test_a_mirror_image_is_never_taken_for_a_motion():
    """Own worked example: z turned over leaves 5.0 mm, as scipy finds, not 0."""
    mirrored = CORNER * [1, 1, -1]
    found = one(mirrored, CORNER)
    assert np.linalg.det(found.rotation[0]) == pytest.approx(1, abs=1e-12)
    assert found.fre_mm[0] == pytest.approx(5.0, abs=1e-12)
    rssd = Rotation.align_vectors(mirrored - mirrored.mean(0), CORNER - 2.5)[1]
    assert found.fre_mm[0] == pytest.approx(rssd / 2, abs=1e-9)
    assert found.mirrored_fre_mm[0] < 1e-6


@pytest.mark.parametrize("points", [TRIANGLE, RECTANGLE, SIX], ids=len)
def test_the_leftover_misfit_gives_the_localisation_error_back(points):
    """E[FRE^2] = (1 - 2/N) FLE^2 (Sibson; Fitzpatrick, West & Maurer 1998; memory)."""
    fre, _ = simulated(points, BELOW)
    count = len(points)
    assert np.mean(fre**2) == pytest.approx((1 - 2 / count) * FLE2, rel=0.02)
    pool = pooled_fle(
        count * fre**2, np.full(len(fre), count), np.zeros(len(fre), int), 1
    )
    assert pool.fle_mm[0] ** 2 == pytest.approx(FLE2, abs=0.004)
    assert pool.is_enough[0]


@pytest.mark.parametrize(
    ("points", "tre2"),
    [(TRIANGLE, 0.185516), (RECTANGLE, 0.1203703704), (SIX, 0.0826182)],
    ids=["three", "four", "six"],
)
def test_the_expected_position_error_is_that_of_the_published_formula(points, tre2):
    """E[TRE^2] = FLE^2/N (1 + 1/3 sum d_k^2/f_k^2), Fitzpatrick, West & Maurer 1998.

    Formula from memory; values by hand for four points, in closed form for the others,
    and reproduced by simulation.
    """
    assert expected_tre(points, BELOW) ** 2 == pytest.approx(tre2, rel=5e-6)
    _, error = simulated(points, BELOW)
    assert np.mean(error**2) == pytest.approx(tre2, rel=0.02)


def test_at_the_centroid_only_the_shift_is_left():
    """TRE^2 = FLE^2 / N there (same formula)."""
    assert expected_tre(RECTANGLE, RECTANGLE.mean(0)) ** 2 == pytest.approx(0.0625)


@pytest.mark.parametrize("points", [TRIANGLE, RECTANGLE, SIX], ids=len)
def test_a_cases_own_misfit_says_nothing_of_its_position_error(points):
    """Uncorrelated (Danilchenko & Fitzpatrick 2010, abstract, PMC4607070)."""
    fre, error = simulated(points, BELOW)
    assert abs(np.corrcoef(fre**2, error**2)[0, 1]) < 0.02

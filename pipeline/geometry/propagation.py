"""How far the error of the matching points reaches: from points to motion to implant.

Each matching point i carries an error of variance s_i^2 per coordinate. To first order
the error of the motion is six numbers, a shift of the weighted centroid and a turn about
it, with covariance

    C = A^-1 (sum w_i^2 s_i^2 J_i' J_i) A^-1,   A = sum w_i J_i' J_i,   J_i = [I, -[r_i]x]

(r_i from the weighted centroid; the sandwich form, so that weights need not be the
reciprocal variances). A point at r then errs by [I, -[r]x], an axis u by [u]x. With equal
weights this is the formula of Fitzpatrick, West & Maurer 1998 (IEEE Trans Med Imaging
17:694); for general weights compare Danilchenko & Fitzpatrick 2010.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.geometry.registration import Counts, Flags, Floats

FEWEST_DEGREES_OF_FREEDOM: Final = 20
"""Below this the pooled error of the points is too loose, and a default is better."""

PARAMETERS: Final = 6
"""Numbers a rigid motion uses up: three of shift, three of turn."""

MODES: Final = (
    "shift_left",
    "shift_back",
    "shift_up",
    "roll",
    "pitch",
    "yaw",
    "spacing",
    "frontal_convergence",
    "sagittal_difference",
    "contradiction",
)
"""The ten numbers of a pair: six that a rigid motion makes, four that none can."""


@dataclass(frozen=True, slots=True)
class MotionError:
    """What is not known about the motions of n cases.

    Attributes:
        covariance: (n, 6, 6); shift of the centroid in mm, then turn in radians; NaN
            where the points leave the motion undetermined.
        centre: (n, 3) mm, the weighted centroid, in the plan's coordinates.
    """

    covariance: Floats
    centre: Floats

    @property
    def of_turn(self) -> Floats:
        """Covariance of the turn about x, y and z, in radians squared: (n, 3, 3)."""
        turn: Floats = self.covariance[:, 3:, 3:]
        return turn

    def of_points(self, points: Floats) -> Floats:
        """Return the covariance of points, (n, k, 3) in mm, as (n, k, 3, 3) mm2."""
        across = _cross_matrices(points - self.centre[:, None, :])
        shift = self.covariance[:, None, :3, :3]
        both = self.covariance[:, None, :3, 3:] @ _transposed(across)
        turn = across @ self.of_turn[:, None] @ _transposed(across)
        found: Floats = shift - both - _transposed(both) + turn
        return found

    def of_axes(self, axes: Floats) -> Floats:
        """Return the covariance of unit axes, (n, k, 3), as (n, k, 3, 3) radians2.

        Its matrix has nothing along the axis itself; its trace holds both planes.
        """
        across = _cross_matrices(axes)
        found: Floats = across @ self.of_turn[:, None] @ _transposed(across)
        return found


def motion_error(
    points: Floats,
    variances_mm2: Floats,
    weights: Floats | None = None,
    mask: Flags | None = None,
) -> MotionError:
    """Carry the error of the matching points over to the motion they give.

    Args:
        points: (n, m, 3) mm, in the plan's coordinates.
        variances_mm2: (n, m), variance of each point *per coordinate*, plan and scan
            together; a third of the squared 3-D localisation error.
        weights: (n, m), those the motion was found with; equal when left out.
        mask: (n, m), True where the point is there.
    """
    points = np.asarray(points, np.float64)
    shape = points.shape[:2]
    there = np.ones(shape, bool) if mask is None else np.asarray(mask, bool)
    weight = np.ones(shape) if weights is None else np.asarray(weights, np.float64)
    weight = np.where(there, weight, 0.0)
    variance = np.where(there, np.asarray(variances_mm2, np.float64), 0.0)
    points = np.where(there[..., None], points, 0.0)
    total = weight.sum(axis=1)
    safe_total = np.where(total > 0, total, np.nan)
    centre = np.einsum("nm,nmi->ni", weight, points) / safe_total[:, None]
    off = np.where(there[..., None], points - centre[:, None, :], 0.0)
    # about the weighted centroid A falls into a block of shift and a block of turn
    inverse = _inverses(_turn_block(off, weight))
    spread = weight**2 * variance
    moment = np.einsum("nm,nmi->ni", spread, off)
    both = (-_cross_matrices(moment) @ inverse) / safe_total[:, None, None]
    covariance = np.empty((len(points), PARAMETERS, PARAMETERS))
    shift = spread.sum(axis=1) / safe_total**2
    covariance[:, :3, :3] = shift[:, None, None] * np.eye(3)
    covariance[:, :3, 3:] = both
    covariance[:, 3:, :3] = _transposed(both)
    covariance[:, 3:, 3:] = inverse @ _turn_block(off, spread) @ inverse
    return MotionError(covariance, centre)


def root_mean_square(covariance: Floats) -> Floats:
    """Return sqrt(trace): the root mean square error over all directions together."""
    size: Floats = np.sqrt(np.trace(covariance, axis1=-2, axis2=-1))
    return size


def tre_mm(error: MotionError, points: Floats) -> Floats:
    """Return the expected position error at points (n, k, 3): (n, k), rms in 3-D, mm."""
    return root_mean_square(error.of_points(points))


def axis_sd_deg(error: MotionError, axes: Floats) -> Floats:
    """Return the expected error of unit axes (n, k, 3): (n, k), both planes, degrees."""
    found: Floats = np.degrees(root_mean_square(error.of_axes(axes)))
    return found


def axis_sd_in_plane_deg(
    error: MotionError, axes: Floats, directions: Floats
) -> Floats:
    """Return the expected error of axes within one plane, in degrees.

    Args:
        error: of the motions.
        axes: (n, k, 3) unit axes.
        directions: (n, k, 3) unit vectors square to the axes, in the plane: x for the
            frontal plane of an upright axis, y for the sagittal, or the direction in
            which a measured tilt leans.
    """
    of_axes = error.of_axes(axes)
    variance = np.einsum("nki,nkij,nkj->nk", directions, of_axes, directions)
    found: Floats = np.degrees(np.sqrt(np.maximum(variance, 0)))
    return found


def mode_variances(
    error: MotionError, pair_centres: Floats, jaw_axes: Floats
) -> dict[str, Floats]:
    """Return the variance the motion's error gives to the ten numbers of a pair.

    Args:
        error: of the motions.
        pair_centres: (n, 3) mm, the middle of the two axes' middles.
        jaw_axes: (n, 3, 3), rows left, back, up as unit vectors.

    Returns:
        (n,) each by name: shifts in mm2, turns in radians2. A rigid motion leaves the
        four others as they are, so theirs is 0. Roll turns about the axis that runs
        back, pitch about the one that runs left, yaw about the one that runs up.
    """
    at_centre = error.of_points(pair_centres[:, None, :])[:, 0]
    shifts = np.einsum("nai,nij,naj->na", jaw_axes, at_centre, jaw_axes)
    turns = np.einsum("nai,nij,naj->na", jaw_axes, error.of_turn, jaw_axes)
    left, back, up = range(3)
    rigid = (
        *(shifts[:, axis] for axis in (left, back, up)),
        *(turns[:, axis] for axis in (back, left, up)),
    )
    nothing = np.zeros(len(pair_centres))
    return dict(zip(MODES, (*rigid, *(nothing,) * 4), strict=True))


@dataclass(frozen=True, slots=True)
class PooledError:
    """Localisation error of the matching points, pooled over the cases of a source.

    Attributes:
        fle_mm: (g,) root mean square in 3-D of one point of weight 1, plan and scan
            together; NaN where no case has more than its motion uses up.
        degrees_of_freedom: (g,) sum over the cases of 3 N - 6.
    """

    fle_mm: Floats
    degrees_of_freedom: Counts

    @property
    def is_enough(self) -> Flags:
        """Where the pool is large enough to be used."""
        return self.degrees_of_freedom >= FEWEST_DEGREES_OF_FREEDOM


def pooled_fle(
    weighted_ss_mm2: Floats,
    count_points: Counts,
    groups: NDArray[np.integer],
    count_groups: int,
) -> PooledError:
    """Pool the leftover misfit of many cases into one localisation error a group.

    The error is scaled so that sum(w r^2) / sum(3 N - 6) is the variance per coordinate
    of a point of weight 1; with equal weights FLE^2 = sum(r^2) / sum(N - 2), Sibson's
    relation between misfit and localisation error. One case's own misfit says nothing
    about that case's position error, so it is never used alone.

    Args:
        weighted_ss_mm2: (n,) sum of weight times squared residual, of accepted cases.
        count_points: (n,) points of each case.
        groups: (n,) group of each case, 0 to count_groups - 1.
        count_groups: number of groups g.
    """
    free = np.maximum(3 * count_points - PARAMETERS, 0)
    degrees = np.bincount(groups, weights=free, minlength=count_groups).astype(np.int64)
    squares = np.bincount(groups, weights=weighted_ss_mm2, minlength=count_groups)
    with np.errstate(invalid="ignore", divide="ignore"):
        fle = np.sqrt(3 * squares / np.where(degrees > 0, degrees, np.nan))
    return PooledError(fle, degrees)


def _cross_matrices(vectors: Floats) -> Floats:
    """Return [v]x for vectors (..., 3): (..., 3, 3), so that [v]x a = v cross a."""
    x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    zero = np.zeros_like(x)
    rows = ((zero, -z, y), (z, zero, -x), (-y, x, zero))
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def _transposed(matrices: Floats) -> Floats:
    """Return matrices (..., i, j) as (..., j, i)."""
    return np.swapaxes(matrices, -1, -2)


def _turn_block(off: Floats, weight: Floats) -> Floats:
    """Return sum w (|r|^2 I - r r') of points about their centroid: (n, 3, 3)."""
    moment = _transposed(off * weight[..., None]) @ off
    size = np.trace(moment, axis1=1, axis2=2)
    block: Floats = size[:, None, None] * np.eye(3) - moment
    return block


def _inverses(blocks: Floats) -> Floats:
    """Invert (n, 3, 3); NaN where the points leave a turn free.

    Told by the smallest eigenvalue, because rounding hides a zero determinant.
    """
    values = np.linalg.eigvalsh(blocks)
    is_free = ~(values[:, 0] > 1e-12 * values[:, 2])
    safe = np.where(is_free[:, None, None], np.eye(3), blocks)
    found: Floats = np.linalg.inv(safe)
    found[is_free] = np.nan
    return found

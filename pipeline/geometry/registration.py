"""Superimposing a scan on its plan: the rigid motion that brings matching points together.

Every function takes many cases at once, as arrays padded to the longest case:
``n`` cases, ``m`` points, three coordinates in mm. A mask says which points are there.

Least squares by the singular value decomposition of the cross-covariance (Arun, Huang &
Blostein 1987; Umeyama 1991 for the sign that keeps the hand, Kabsch's solution): no
scale, and never a mirror image, however much better that would fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]

FEWEST_POINTS: Final = 3
"""Fewer points leave a turn free."""

LEAST_SPREAD_MM: Final = 2.0
"""Least second singular value over sqrt(N); below it the points are nearly on a line,
and the turn about that line is free."""

TOO_FEW: Final = "too_few"
NEAR_LINE: Final = "near_line"


@dataclass(frozen=True, slots=True)
class Registration:
    """The motions that take scans to their plans: plan = rotation @ scan + translation.

    Attributes:
        rotation: (n, 3, 3), determinant +1; NaN where refused.
        translation: (n, 3) mm; NaN where refused.
        residuals: (n, m, 3) mm, plan less moved scan; 0 where there is no point. As
            the three below, without meaning where refused: NaN, or 0 without a point.
        count_points: (n,) points used.
        fre_mm: (n,) root mean square *point distance* left over, sqrt(sum r^2 / N), not
            the root mean square over coordinates, which is sqrt(3) smaller.
        mirrored_fre_mm: (n,) what the best mirror image would have left over, as a
            weighted root mean square; smaller than ``fre_mm`` where the hand is wrong.
        weighted_ss_mm2: (n,) sum of weight times squared residual.
        singular_values_mm: (n, 3) of the centred points, largest first, the smaller of
            plan and scan.
        refusal: (n,) why there is no motion: ``too_few``, ``near_line`` or empty.
    """

    rotation: Floats
    translation: Floats
    residuals: Floats
    count_points: Counts
    fre_mm: Floats
    mirrored_fre_mm: Floats
    weighted_ss_mm2: Floats
    singular_values_mm: Floats
    refusal: NDArray[np.str_]

    @property
    def second_spread_mm(self) -> Floats:
        """Second singular value over sqrt(N): how far the points lie off one line."""
        count = np.maximum(self.count_points, 1)
        spread: Floats = self.singular_values_mm[:, 1] / np.sqrt(count)
        return spread

    @property
    def is_refused(self) -> Flags:
        """Where there is no motion."""
        return self.refusal != ""

    def moved(self, points: Floats) -> Floats:
        """Return points of the scans, (n, k, 3), in the coordinates of the plans."""
        return _moved(points, self.rotation, self.translation)

    def moved_back(self, points: Floats) -> Floats:
        """Return points, (n, k, 3), moved the other way round."""
        back: Floats = (points - self.translation[:, None, :]) @ self.rotation
        return back


def register(
    plan: Floats,
    scan: Floats,
    weights: Floats | None = None,
    mask: Flags | None = None,
) -> Registration:
    """Superimpose each scan on its plan by (weighted) least squares, without a mirror.

    Args:
        plan: (n, m, 3) mm, the points in the plan's coordinates.
        scan: (n, m, 3) mm, the same points in the scan's own coordinates.
        weights: (n, m), 0 or more, best the reciprocal variance of each point; all
            points count alike when left out.
        mask: (n, m), True where the point is there; all are when left out. What stands
            at the other places is not looked at.

    Returns:
        The motions, with what they leave over; refused where fewer than
        ``FEWEST_POINTS`` points, or points nearly on a line, allow none.

    Raises:
        ValueError: the shapes do not agree, or a weight is below 0.
    """
    plan, scan = np.asarray(plan, np.float64), np.asarray(scan, np.float64)
    if plan.ndim != 3 or plan.shape != scan.shape or plan.shape[2] != 3:
        raise ValueError("plan and scan are both (cases, points, 3)")
    weights, mask = _weights_and_mask(plan.shape[:2], weights, mask)
    plan, scan = _only(plan, mask), _only(scan, mask)
    count = mask.sum(axis=1)
    spread = np.minimum(_singular_values(plan, mask), _singular_values(scan, mask))
    refusal = _refusals(count, spread)
    rotation, translation, third = _fit(plan, scan, weights, mask)
    none = refusal != ""
    rotation[none], translation[none] = np.nan, np.nan
    left = _only(plan - _moved(scan, rotation, translation), mask)
    squared = np.sum(left**2, axis=2)
    weighted = np.sum(weights * squared, axis=1)
    total_weight = np.maximum(weights.sum(axis=1), np.finfo(float).tiny)
    mirrored = np.sqrt(np.maximum(weighted + 4 * third, 0) / total_weight)
    return Registration(
        rotation=rotation,
        translation=translation,
        residuals=left,
        count_points=count,
        fre_mm=np.sqrt(squared.sum(axis=1) / np.maximum(count, 1)),
        mirrored_fre_mm=mirrored,
        weighted_ss_mm2=weighted,
        singular_values_mm=spread,
        refusal=refusal,
    )


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Each point against a superimposition of all the others.

    Attributes:
        distance_mm: (n, m) how far the point lies from where the others put it; NaN
            where the others allow no motion (three points or fewer).
        others_fre_mm: (n, m) leftover misfit of the others among themselves.
    """

    distance_mm: Floats
    others_fre_mm: Floats

    def worst(self) -> NDArray[np.intp]:
        """Return (n,) the point without which the others agree best; -1 for none.

        Not the one of the largest distance: a wrong point also throws the others'
        motions off, and farther points then seem worse than it is.
        """
        told = np.where(np.isnan(self.distance_mm), np.inf, self.others_fre_mm)
        is_any = np.isfinite(told).any(axis=1)
        return np.where(is_any, np.argmin(told, axis=1), -1)


def leave_one_out(
    plan: Floats,
    scan: Floats,
    weights: Floats | None = None,
    mask: Flags | None = None,
) -> LeftOut:
    """Superimpose each case once without each of its points; arguments as register."""
    shape = (plan.shape[0], plan.shape[1])
    weights, mask = _weights_and_mask(shape, weights, mask)
    distances, misfits = np.full(shape, np.nan), np.full(shape, np.nan)
    is_checkable = mask.sum(axis=1) > FEWEST_POINTS
    plan, scan = _only(plan, mask), _only(scan, mask)
    for point in range(plan.shape[1]):
        others = mask & is_checkable[:, None]
        others[:, point] = False
        weight = np.where(others, weights, 0.0)
        rotation, translation, _ = _fit(plan, scan, weight, others)
        off = np.linalg.norm(plan - _moved(scan, rotation, translation), axis=2)
        count = np.maximum(others.sum(axis=1), 1)
        refusal = _refusals(others.sum(axis=1), _singular_values(plan, others))
        told = mask[:, point] & (refusal == "")
        distances[told, point] = off[told, point]
        misfit = np.sqrt(np.where(others, off**2, 0.0).sum(axis=1) / count)
        misfits[told, point] = misfit[told]
    return LeftOut(distances, misfits)


def _weights_and_mask(
    shape: tuple[int, ...], weights: Floats | None, mask: Flags | None
) -> tuple[Floats, Flags]:
    """Return weights that are 0 where no point is, and the points that count."""
    given = np.ones(shape, bool) if mask is None else np.asarray(mask, bool)
    weight = np.ones(shape) if weights is None else np.asarray(weights, np.float64)
    if given.shape != shape or weight.shape != shape:
        raise ValueError("weights and mask are (cases, points)")
    weight = np.where(given, weight, 0.0)
    if np.any(weight < 0):
        raise ValueError("a weight cannot be below 0")
    return weight, given & (weight > 0)


def _only(points: Floats, mask: Flags) -> Floats:
    """Return the points with 0 where none is."""
    return np.where(mask[..., None], points, 0.0)


def _centred(points: Floats, weights: Floats, mask: Flags) -> tuple[Floats, Floats]:
    """Return the weighted centroids and the points about them, 0 where none is."""
    total = np.maximum(weights.sum(axis=1), np.finfo(float).tiny)
    centre = np.einsum("nm,nmi->ni", weights, points) / total[:, None]
    return centre, _only(points - centre[:, None, :], mask)


def _moved(points: Floats, rotation: Floats, translation: Floats) -> Floats:
    """Return rotation @ point + translation for points (n, k, 3)."""
    turned: Floats = points @ rotation.transpose(0, 2, 1)
    return turned + translation[:, None, :]


def _fit(
    plan: Floats, scan: Floats, weights: Floats, mask: Flags
) -> tuple[Floats, Floats, Floats]:
    """Return the best proper motions, and the part a mirror would have gained.

    The third result is sign times the third singular value of the cross-covariance: the
    best mirror image leaves four times that much more, so less where it is negative.
    """
    plan_centre, plan_off = _centred(plan, weights, mask)
    scan_centre, scan_off = _centred(scan, weights, mask)
    cross = (scan_off * weights[..., None]).transpose(0, 2, 1) @ plan_off
    u, values, vt = np.linalg.svd(cross)
    sign = np.where(np.linalg.det(u) * np.linalg.det(vt) < 0, -1.0, 1.0)
    u[:, :, 2] *= sign[:, None]
    rotation = (u @ vt).transpose(0, 2, 1)
    translation = plan_centre - np.einsum("nij,nj->ni", rotation, scan_centre)
    return rotation.copy(), translation, sign * values[:, 2]


def _singular_values(points: Floats, mask: Flags) -> Floats:
    """Return the singular values of the centred points, largest first: (n, 3)."""
    _, off = _centred(points, mask.astype(np.float64), mask)
    squares = np.linalg.eigvalsh(np.einsum("nmi,nmj->nij", off, off))
    values: Floats = np.sqrt(np.maximum(squares[:, ::-1], 0.0))
    return values


def _refusals(count: Counts, singular_values_mm: Floats) -> NDArray[np.str_]:
    second = singular_values_mm[:, 1] / np.sqrt(np.maximum(count, 1))
    return np.select(
        [count < FEWEST_POINTS, second < LEAST_SPREAD_MM],
        [np.str_(TOO_FEW), np.str_(NEAR_LINE)],
        default=np.str_(""),
    )

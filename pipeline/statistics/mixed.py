"""A linear mixed model by restricted likelihood: what varies between clusters is chance.

y = X b + Z u + e, with u of each cluster normal with covariance sigma^2 L L' and e normal
with variance sigma^2. With Z a column of ones this is the random intercept: two implants
of one patient share u. The likelihood needs the sums of X, y and Z over each cluster
only, and clusters with the same Z'Z share their products, so that a million implants
take no longer to fit than a hundred once the sums are made.

Restricted likelihood: Patterson & Thompson, Biometrika 1971;58:545-554; the form with
relative covariances: Bates et al., J Stat Softw 2015;67(1).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np

from pipeline.statistics.patients import Floats, Patients

_LARGEST_RELATIVE_SD = 30.0
"""A cluster's sd over the sd within it; beyond, values of a cluster are as good as alike."""

_NO_INFORMATION = 1e-10
"""An eigenvalue of the scaled cross-products below this is rounding: columns repeat."""

_NO_VARIANCE = 1e-12
"""A part of the squares of the values that is rounding."""

_NO_GAIN = 1e-6
"""A criterion lower by less than this is rounding: no variance between clusters is seen."""


@dataclass(frozen=True, slots=True)
class MixedModel:
    """A fitted mixed model.

    Attributes:
        coefficients: shape (k,), in the unit of y.
        covariance: shape (k, k), of the coefficients.
        sd_within: standard deviation of e.
        relative: shape (q, q), lower triangular L: cluster effects over sd_within.
        criterion: -2 log restricted likelihood at its lowest.
        at_edge: "" or "none between" (no variance between clusters is seen) or "none
            within" (values of a cluster are as good as alike).
    """

    coefficients: Floats
    covariance: Floats
    sd_within: float
    relative: Floats
    criterion: float
    at_edge: str

    @property
    def sd_between(self) -> Floats:
        """Standard deviations of the cluster effects, shape (q,)."""
        return np.asarray(
            self.sd_within * np.sqrt(np.diag(self.relative @ self.relative.T))
        )

    def se(self, at: int) -> float:
        """Standard error of one coefficient."""
        return sqrt(float(self.covariance[at, at]))


@dataclass(frozen=True, slots=True)
class _Sums:
    """What the likelihood needs of the data, W being X with y as the last column.

    Attributes:
        n_values: rows.
        total: W'W, shape (c, c).
        grams: Z'Z of each kind of cluster, shape (g, q, q).
        counts: clusters of each kind, shape (g,).
        products: sum over the clusters of a kind of (Z'W)(Z'W)', shape (g, q, c, q, c).
    """

    n_values: int
    total: Floats
    grams: Floats
    counts: Floats
    products: Floats

    def solved(self, relative: Floats) -> tuple[Floats, float]:
        """W' V^-1 W and log |V| for V in units of sigma^2, at one L."""
        identity = np.eye(len(relative))
        inner = identity + relative.T @ self.grams @ relative
        taken = relative @ np.linalg.solve(inner, relative.T[None])
        reduced = self.total - np.einsum("gab,gacbd->cd", taken, self.products)
        _, sizes = np.linalg.slogdet(inner)
        return reduced, float(self.counts @ sizes)

    def criterion(self, relative: Floats) -> float:
        """-2 log restricted likelihood at one L, sigma at its best."""
        reduced, log_size = self.solved(relative)
        k = len(reduced) - 1
        free = self.n_values - k
        sign, log_information = np.linalg.slogdet(reduced[:k, :k])
        left = _left_over(reduced)
        if sign <= 0 or left <= 0:
            return float("inf")
        return float(
            free * (1 + log(2 * pi * left / free)) + log_size + log_information
        )


def random_intercept(values: Floats, patients: Patients, design: Floats) -> MixedModel:
    """Fit a model in which each cluster has its own level.

    Args:
        values: shape (n,).
        patients: the cluster of each value.
        design: shape (n, k), of full rank with fewer columns than values.
    """
    sums = _sums(values, patients, design, np.ones((values.size, 1)))

    def at(ratio: float) -> float:
        return sums.criterion(np.array([[ratio]]))

    best = _lowest(at)
    edge = ""
    if best == 0:
        edge = "none between"
    elif best > 0.99 * _LARGEST_RELATIVE_SD:
        edge = "none within"
    return _model(sums, np.array([[best]]), edge)


def random_slope(
    values: Floats, patients: Patients, design: Floats, slope: Floats
) -> MixedModel:
    """Fit a model in which each cluster has its own level and its own slope.

    Args:
        values: shape (n,).
        patients: the cluster of each value.
        design: shape (n, k), of full rank with fewer columns than values.
        slope: shape (n,), what the slope is of, of a spread near 1.
    """
    from scipy.optimize import minimize

    sums = _sums(
        values, patients, design, np.column_stack([np.ones(values.size), slope])
    )

    def lower(parts: Floats) -> Floats:
        return np.array([[parts[0], 0.0], [parts[1], parts[2]]])

    def criterion(parts: Floats) -> float:
        return sums.criterion(lower(parts))

    # the sign of a column of L says nothing, so the criterion is level at 0: with 0 as a
    # bound the search would end on it wherever it meets it
    widest = _LARGEST_RELATIVE_SD
    tried = [
        minimize(
            criterion,
            np.array(start),
            method="L-BFGS-B",
            bounds=[(-widest, widest)] * 3,
        )
        for start in ((1.0, 0.0, 1.0), (0.3, 0.0, 0.1))
    ]
    best = min(tried, key=lambda found: float(found.fun))
    without_slope = criterion(np.array([best.x[0], 0.0, 0.0]))
    is_flat = without_slope - float(best.fun) < _NO_GAIN
    return _model(sums, lower(best.x), "none between" if is_flat else "")


def is_of_full_rank(design: Floats) -> bool:
    """Say whether no column of a design follows from the others."""
    lengths = np.sqrt((design**2).sum(axis=0))
    if design.shape[0] < design.shape[1] or not lengths.all():
        return False
    cross = design.T @ design / np.outer(lengths, lengths)
    return bool(np.linalg.eigvalsh(cross)[0] > _NO_INFORMATION)


def leaves_nothing(values: Floats, design: Floats) -> bool:
    """Say whether a design fits the values exactly, so that no variance is left to fit."""
    fitted = design @ np.linalg.lstsq(design, values)[0]
    left = values - fitted
    whole = max(float(values @ values), _NO_VARIANCE)
    return float(left @ left) <= _NO_VARIANCE * whole


def whitened(model: MixedModel, residuals: Floats, patients: Patients) -> Floats:
    """Residuals of a random intercept freed of what a cluster shares, sd 1 each.

    e - (1 - 1/sqrt(1 + m r^2)) mean of the cluster, over sd_within, r the relative sd.

    Args:
        model: of one random level.
        residuals: shape (n,), values less what the fixed part expects.
        patients: the cluster of each.
    """
    shrink = 1 - 1 / np.sqrt(1 + patients.sizes * model.relative[0, 0] ** 2)
    means = patients.totals(residuals) / patients.sizes
    return np.asarray((residuals - (shrink * means)[patients.index]) / model.sd_within)


def moved_by_each(
    model: MixedModel, residuals: Floats, patients: Patients, design: Floats
) -> Floats:
    """About how far each cluster of a random intercept moves the coefficients.

    One step, variances as they are: B X_i' V_i^-1 r_i, shape (n clusters, k).
    """
    squared = model.relative[0, 0] ** 2
    part = squared / (1 + patients.sizes * squared)
    own = residuals - (part * patients.totals(residuals))[patients.index]
    columns = np.ascontiguousarray(design.T)
    scores = np.column_stack([patients.totals(column * own) for column in columns])
    return np.asarray(scores @ model.covariance / model.sd_within**2)


def _sums(values: Floats, patients: Patients, design: Floats, random: Floats) -> _Sums:
    # by columns: the sums over clusters run down one column at a time
    q, c = random.shape[1], design.shape[1] + 1
    both = np.empty((values.size, c), order="F")
    both[:, :-1], both[:, -1] = design, values
    own = np.empty((patients.n_patients, q, c))
    gram = np.empty((patients.n_patients, q, q))
    for a in range(q):
        for b in range(c):
            own[:, a, b] = patients.totals(random[:, a] * both[:, b])
        for b in range(q):
            gram[:, a, b] = patients.totals(random[:, a] * random[:, b])
    # one number a cluster sorts fast, rows of several do not
    keys = gram[:, 0, 0] if q == 1 else gram.reshape(len(gram), -1)
    kinds, kind = np.unique(keys, axis=0, return_inverse=True)
    kind = kind.ravel()
    flat = own.reshape(len(own), q * c)
    products = [flat[kind == g].T @ flat[kind == g] for g in range(len(kinds))]
    return _Sums(
        values.size,
        both.T @ both,
        kinds.reshape(-1, q, q),
        np.bincount(kind).astype(np.float64),
        np.array(products).reshape(-1, q, c, q, c),
    )


def _left_over(reduced: Floats) -> float:
    """Weighted sum of squares that the fixed part leaves."""
    cross = reduced[:-1, -1]
    return float(reduced[-1, -1] - cross @ np.linalg.solve(reduced[:-1, :-1], cross))


def _lowest(at: Callable[[float], float]) -> float:
    """Return the relative sd, 0 included, at which a criterion is lowest."""
    from scipy.optimize import minimize_scalar

    grid = [0.0, *np.geomspace(0.01, _LARGEST_RELATIVE_SD, 30)]
    heights = [at(float(place)) for place in grid]
    best = int(np.argmin(heights))
    low, high = grid[max(0, best - 1)], grid[min(len(grid) - 1, best + 1)]
    found = minimize_scalar(
        at, bounds=(low, high), method="bounded", options={"xatol": 1e-8}
    )
    tried = [(float(found.fun), float(found.x)), *zip(heights, grid, strict=True)]
    lowest, place = min(tried)
    return 0.0 if heights[0] - lowest < _NO_GAIN else float(place)


def _model(sums: _Sums, relative: Floats, edge: str) -> MixedModel:
    reduced, _ = sums.solved(relative)
    information = reduced[:-1, :-1]
    coefficients = np.linalg.solve(information, reduced[:-1, -1])
    variance = _left_over(reduced) / (sums.n_values - len(information))
    return MixedModel(
        np.asarray(coefficients, dtype=np.float64),
        np.asarray(variance * np.linalg.inv(information), dtype=np.float64),
        sqrt(variance),
        relative,
        sums.criterion(relative),
        edge,
    )

"""Is there a systematic error, in any direction? Told on the means of the patients.

One direction at a time finds a bias by chance sooner or later; Hotelling's T2 judges the
whole vector at once. Two implants of a patient are one observation: their mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, fdtri

from pipeline.statistics.patients import (
    Labels,
    as_numbers,
    counted,
    group_by_patient,
)

Floats = NDArray[np.float64]

MORE_THAN_PARTS: Final = 5
"""Patients needed beyond the number of parts of the vector."""

LEVEL: Final = 0.95
FLATTEST: Final = 1e-12
"""A vector whose parts depend on each other has no T2."""


@dataclass(frozen=True, slots=True)
class VectorBias:
    """A mean vector and whether chance explains it.

    Attributes:
        n_clusters: patients.
        n_values: implants (or pairs).
        mean: (p,) mean over the patients' means; empty without values.
        covariance: (p, p) of the patients' means; None below two patients.
        t2: Hotelling's T2 against no bias; None when refused.
        f: (n - p) / (p (n - 1)) T2; None when refused.
        df: p and n - p; None when refused.
        p_value: how often chance alone gives so large a T2; None when refused.
        warning: why it is refused; None when it is not.
    """

    n_clusters: int
    n_values: int
    mean: Floats
    covariance: Floats | None
    t2: float | None
    f: float | None
    df: tuple[int, int] | None
    p_value: float | None
    warning: str | None


def vector_bias(vectors: ArrayLike, clusters: Labels) -> VectorBias:
    """Judge a signed vector against no bias.

    Args:
        vectors: shape (n_values, p), one row an implant or pair, finite.
        clusters: the patient of each row.

    Raises:
        ValueError: a value or a label is missing, or the vectors have no two parts.
    """
    rows = np.asarray(vectors, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] < 2:
        raise ValueError("vectors need one row a value and at least two parts")
    parts = [as_numbers(column) for column in rows.T]
    count_parts = len(parts)
    _, patients = group_by_patient(parts[0], clusters)
    n = patients.n_patients
    means = np.column_stack([patients.totals(part) / patients.sizes for part in parts])
    if n == 0:
        return _refused(means, 0, 0, "No values.")
    if n < count_parts + MORE_THAN_PARTS:
        return _refused(
            means,
            n,
            patients.n_values,
            f"Not judged as a whole: {counted(n, 'patient')};"
            f" {count_parts} directions together need at least"
            f" {count_parts + MORE_THAN_PARTS}.",
        )
    mean, covariance = means.mean(axis=0), np.cov(means, rowvar=False)
    spread = np.linalg.eigvalsh(covariance)
    if spread[0] <= FLATTEST * max(spread[-1], FLATTEST):
        return _refused(
            means,
            n,
            patients.n_values,
            "Not judged as a whole: the directions depend on each other, or do not vary.",
        )
    t2 = float(n * mean @ np.linalg.solve(covariance, mean))
    df = (count_parts, n - count_parts)
    f = df[1] / (count_parts * (n - 1)) * t2
    p_value = float(fdtrc(*df, f))
    return VectorBias(n, patients.n_values, mean, covariance, t2, f, df, p_value, None)


def critical_t2(n: int, count_parts: int, level: float = LEVEL) -> float:
    """Return the T2 that chance passes in 1 - level of audits of n patients."""
    df = (count_parts, n - count_parts)
    return count_parts * (n - 1) / df[1] * float(fdtri(*df, level))


def half_axes_of_mean(covariance: Floats, n: int) -> Floats:
    """Half-axes of the 95 % ellipse of the *mean*, smallest first: (p,).

    It holds the true mean, not the implants; those spread sqrt(n) times as far.

    Args:
        covariance: of the patients' means.
        n: patients.
    """
    values = np.linalg.eigvalsh(covariance)
    axes: Floats = np.sqrt(values * critical_t2(n, len(values)) / n)
    return axes


def _refused(means: Floats, n: int, n_values: int, why: str) -> VectorBias:
    mean = means.mean(axis=0) if n else np.empty(0)
    covariance = np.cov(means, rowvar=False) if n > 1 else None
    return VectorBias(n, n_values, mean, covariance, None, None, None, None, why)

"""Invented audits with known truths, drawn many at a time.

Errors of the two implants of a patient come from a pair of correlated normal scores (a
Gaussian copula), turned into a skewed distance (Rayleigh, Maxwell, lognormal) or into a
signed value (normal, or t with 4 degrees of freedom for heavy tails). Each second implant
may be missing, at random.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import exp, pi, sqrt
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv, gammaincinv, log_ndtr, ndtr, stdtrit

Floats: TypeAlias = NDArray[np.float64]

LOG_SD = 0.6
"""Of the lognormal errors: skewness 2.3."""

BIAS = 0.3
"""Of the signed values, in their unit."""


@dataclass(frozen=True, slots=True)
class Shape:
    """How a normal score becomes a value, and the mean that follows."""

    name: str
    from_score: Callable[[Floats], Floats]
    mean: float


def _maxwell(z: Floats) -> Floats:
    # from the nearer tail, whose probability keeps its digits
    upper = gammainccinv(1.5, ndtr(-np.maximum(z, 0)))
    lower = gammaincinv(1.5, ndtr(np.minimum(z, 0)))
    root: Floats = np.sqrt(2 * np.where(z > 0, upper, lower))
    return root


ERRORS = (
    Shape("Rayleigh", lambda z: np.sqrt(-2 * log_ndtr(-z)), sqrt(pi / 2)),
    Shape("Maxwell", _maxwell, sqrt(8 / pi)),
    Shape("lognormal", lambda z: np.exp(LOG_SD * z), exp(LOG_SD**2 / 2)),
)

SIGNED = (
    Shape("normal", lambda z: BIAS + z, BIAS),
    Shape("t4", lambda z: BIAS + stdtrit(4, ndtr(z)), BIAS),
)

SCORES = Shape("any", lambda z: z, 0.0)
"""The scores themselves, for what depends on the order of the errors only."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One kind of audit.

    Attributes:
        shape: how the errors are distributed.
        icc: correlation of the two scores of a patient.
        n_patients: patients of one audit.
        missing: chance that a patient's second implant is missing.
    """

    shape: Shape
    icc: float
    n_patients: int
    missing: float


def audits(
    setting: Setting, count: int, rng: np.random.Generator
) -> Iterator[tuple[Floats, NDArray[np.intp]]]:
    """Draw `count` audits at once; give the values and the patients of each in turn."""
    shape = (count, setting.n_patients, 2)
    shared = rng.standard_normal((*shape[:2], 1))
    own = rng.standard_normal(shape)
    scores = sqrt(setting.icc) * shared + sqrt(1 - setting.icc) * own
    values = setting.shape.from_score(scores)
    is_there = np.ones(shape, dtype=bool)
    is_there[..., 1] = rng.random(shape[:2]) >= setting.missing
    patients = np.broadcast_to(np.arange(setting.n_patients)[:, None], shape[1:])
    for one, mask in zip(values, is_there, strict=True):
        yield one[mask], patients[mask]


def correlation_on_root_scale(shape: Shape, icc: float) -> float:
    """Correlation of the square roots of the two errors of a patient, by quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / weights.sum()
    root = np.sqrt(shape.from_score(nodes))
    mean = weights @ root
    variance = weights @ (root - mean) ** 2
    partner = icc * nodes[:, None] + sqrt(1 - icc**2) * nodes[None, :]
    expected = np.sqrt(shape.from_score(partner)) @ weights
    return float(weights @ ((root - mean) * (expected - mean)) / variance)

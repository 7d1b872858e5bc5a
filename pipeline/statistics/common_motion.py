"""Did the two implants of a case move together? Told across cases, never from one.

A rigid motion alone absorbs much of any error, so a large absorbed share in one case is
no evidence. Across cases the errors left over by the rigid motion are compared with what
they would be if left and right had nothing in common: the sign of the right implant's
whole error is flipped, case by case. Flipping keeps hard cases hard, which pairing the
implants of different cases anew would not. Bias is taken off first, which makes the
products of the two sides vary more among audits, (n - 1) sigma^4, than among the flips of
one, (n - 1)^2/n sigma^4; what was seen is brought to the scale of the flips. Without that
p lies below 0.05 in 6 to 8 % of audits of 8 pairs with nothing in common, with it in 3 to
4 %, and in 5 % of audits of 15 pairs and more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.budget import refusal
from pipeline.statistics.pair_errors import Pairs

Floats = NDArray[np.float64]

ALL_FLIPS_TO: Final = 12
"""Up to so many pairs all 2^n flips are made; above, a drawn set."""

DRAWN_FLIPS_TO: Final = 500
"""Above, the sums over many cases are drawn as the normal ones they have become."""

COUNT_FLIPS: Final = 4999
SEED: Final = 20261125
"""The drawn set is the same on every run, so that a report can be made again."""

ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class CommonMotion:
    """What was seen of both implants moving together.

    Attributes:
        n_pairs: pairs of different patients.
        seen_share: share of the squared error, bias taken off, that rigid motions of
            the pairs absorb.
        null_share: the same share if left and right had nothing in common.
        p: how often chance alone would give so little left over.
        is_exact: all flips were made.
    """

    n_pairs: int
    seen_share: float
    null_share: float
    p: float
    is_exact: bool


def common_motion(pairs: Pairs) -> CommonMotion:
    """Test whether left and right erred together: guide or superimposition.

    Args:
        pairs: (n,) pairs of different patients, n at least 8.

    Returns:
        p from T = - sum over the four numbers that no rigid motion makes of
        ln sum mode^2, all flips for n up to 12, 4,999 drawn ones to 500, above as many draws of
        the normal sums that the flips of so many cases make.
    """
    said = refusal(pairs.n)
    if said:
        raise ValueError(said)
    centred = pairs.centred()
    left_over, rigid = centred.not_rigid_mm2().sum(), centred.rigid_mm2().sum()
    is_exact = pairs.n <= ALL_FLIPS_TO
    constants, products = _parts(centred)
    scale = sqrt((pairs.n - 1) / pairs.n)
    seen = _statistic(constants, scale * products.sum(axis=0)[None])[0]
    if is_exact:
        sums = _all_signs(pairs.n) @ products
    elif pairs.n <= DRAWN_FLIPS_TO:
        sums = _drawn_signs(pairs.n) @ products
    else:
        sums = _drawn_sums(products)
    flipped = _statistic(constants, sums)
    count = int(np.count_nonzero(flipped >= seen - ROUNDING))
    p = (1 + count) / (1 + len(sums))
    return CommonMotion(
        pairs.n, float(rigid / (rigid + left_over)), null_share(centred), p, is_exact
    )


def null_share(centred: Pairs) -> float:
    """Share a rigid motion absorbs if the implants have nothing in common.

    In closed form, equal to the mean over all sign flips of the sums.
    """
    left, back, up, lean_left, lean_back = centred.implants()
    l2, w2 = centred.l2, centred.w2
    sides = np.array([1.0, -1.0])
    twist = lean_left / 2 + sides * up / centred.spacing_mm
    leans = lean_left**2 + lean_back**2
    left_over = left**2 + l2 / 4 * leans + l2 * w2 / (l2 + w2) * twist**2
    everything = 2 * (left**2 + back**2 + up**2) + l2 / 2 * leans
    return float(1 - left_over.sum() / everything.sum())


def _parts(centred: Pairs) -> tuple[Floats, Floats]:
    """Return what the sum of squares of each of the four numbers is made of.

    Each number is a + sign b, so its sum of squares is a constant, (4,), and twice the
    sum of sign times a product, (n, 4).
    """
    left, _, up, lean_left, lean_back = centred.implants()
    sides = np.array([1.0, -1.0])
    twist = lean_left / 2 + sides * up / centred.spacing_mm
    four = ((left, -1), (lean_left, -1), (lean_back, -1), (twist, 1))
    constants = np.array([(both**2).sum() for both, _ in four])
    products = np.column_stack([sign * both[:, 0] * both[:, 1] for both, sign in four])
    return constants, products


def _statistic(constants: Floats, sums: Floats) -> Floats:
    """Return T for each row of sums of signed products, (flips, 4)."""
    squares = np.maximum(constants + 2 * sums, np.finfo(float).tiny)
    found: Floats = -np.log(squares).sum(axis=1)
    return found


def _all_signs(n: int) -> Floats:
    """Return all 2^n rows of signs."""
    bits = np.arange(2**n)[:, None] >> np.arange(n)
    return np.asarray(1 - 2 * (bits & 1), dtype=np.float64)


@lru_cache(maxsize=2)
def _drawn_signs(n: int) -> Floats:
    return np.random.default_rng(SEED).choice([-1.0, 1.0], (COUNT_FLIPS, n))


def _drawn_sums(products: Floats) -> Floats:
    """Return sums of signed products over many cases, which are all but normal."""
    rng = np.random.default_rng(SEED)
    drawn: Floats = rng.multivariate_normal(
        np.zeros(products.shape[1]), products.T @ products, COUNT_FLIPS, method="eigh"
    )
    return drawn

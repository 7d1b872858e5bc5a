"""Did the two implants of a case move together? Told across cases, never from one.

A rigid motion alone absorbs much of any error, so a large absorbed share in one case is
no evidence. Across cases the errors left over by the rigid motion are compared with what
they would be if left and right had nothing in common: the sign of the right implant's
whole error is flipped, case by case. Flipping keeps hard cases hard, which pairing the
implants of different cases anew would not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.budget import refusal
from pipeline.statistics.pair_errors import Pairs

Floats = NDArray[np.float64]

ALL_FLIPS_TO: Final = 12
"""Up to so many pairs all 2^n flips are made; above, a drawn set."""

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
        ln sum mode^2, all flips for n up to 12, else 4,999 drawn ones.
    """
    said = refusal(pairs.n)
    if said:
        raise ValueError(said)
    centred = pairs.centred()
    left_over, rigid = centred.not_rigid_mm2().sum(), centred.rigid_mm2().sum()
    is_exact = pairs.n <= ALL_FLIPS_TO
    signs = _all_signs(pairs.n) if is_exact else _drawn_signs(pairs.n)
    seen = _statistic(centred, np.ones((1, pairs.n)))[0]
    flipped = _statistic(centred, signs)
    count = int(np.count_nonzero(flipped >= seen - ROUNDING))
    p = count / len(signs) if is_exact else (1 + count) / (1 + len(signs))
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


def _statistic(centred: Pairs, signs: Floats) -> Floats:
    """Return T for each row of signs, (flips, n): one sign a case, for the right side.

    Each of the four numbers is a + sign b, so its sum of squares is a constant and
    twice the sum of sign a b.
    """
    left, _, up, lean_left, lean_back = centred.implants()
    sides = np.array([1.0, -1.0])
    twist = lean_left / 2 + sides * up / centred.spacing_mm
    found = np.zeros(len(signs))
    for both, sign in ((left, -1), (lean_left, -1), (lean_back, -1), (twist, 1)):
        product = sign * both[:, 0] * both[:, 1]
        squares = (both**2).sum() + 2 * (signs @ product)
        found -= np.log(np.maximum(squares, np.finfo(float).tiny))
    return found


def _all_signs(n: int) -> Floats:
    """Return all 2^n rows of signs."""
    bits = np.arange(2**n)[:, None] >> np.arange(n)
    return np.asarray(1 - 2 * (bits & 1), dtype=np.float64)


def _drawn_signs(n: int) -> Floats:
    return np.random.default_rng(SEED).choice([-1.0, 1.0], (COUNT_FLIPS, n))

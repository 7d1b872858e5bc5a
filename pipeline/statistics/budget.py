"""Where the scatter of a pair comes from: both implants together, or each by itself.

What the two implants of a case share (guide or superimposition) shows in their mean
only; what each has by itself shows in their difference too:
own = s2(difference) / 2, common = s2(mean) - s2(difference) / 4. Components are those of
the jaw (left-right, depth, frontal and sagittal lean), never mirrored. Facial position
cannot be divided: its mean and its difference are both such as a rigid motion makes.
Estimates are moments; their limits allow for heavy tails (`variances`). The overall share
takes the eight numbers that can be divided, with a jackknife over cases on the log scale.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri, stdtrit

from pipeline.statistics.pair_errors import PairErrors, Pairs
from pipeline.statistics.patients import FEWEST_WITHOUT_CAUTION, UPPER_TAIL, counted
from pipeline.statistics.variances import (
    Variance,
    average_kurtosis,
    combined,
    degrees_of_freedom,
    sample_variance,
    with_limits,
    without_each,
)

Floats: TypeAlias = NDArray[np.float64]
Spread: TypeAlias = Callable[[Floats], Floats]

FEWEST_PAIRS: Final = FEWEST_WITHOUT_CAUTION
"""With fewer pairs nothing is divided."""

ENOUGH_PAIRS: Final = 15
"""With fewer pairs the parts are shown beside a caution."""


@dataclass(frozen=True, slots=True)
class Divided:
    """One component of the scatter, as variances (mm2 or radians2) of one implant.

    Attributes:
        own: of each implant by itself, error of reading included; None where it
            cannot be told.
        common: of both together, guide or superimposition.
    """

    own: Variance | None
    common: Variance


@dataclass(frozen=True, slots=True)
class Budget:
    """The components of the scatter.

    Attributes:
        left_right: sideways, at the middle of the axes.
        depth: up and down together.
        see_saw: one implant sinking and the other rising, told by the depths.
        frontal_lean: to the left; common is the roll, told by the leans.
        sagittal_lean: forward.
        facial_position: forward; its whole variance stands in ``common``.
        fractions: share that is common, by component, with limits: left_right,
            frontal_lean, sagittal_lean.
    """

    left_right: Divided
    depth: Divided
    see_saw: Divided
    frontal_lean: Divided
    sagittal_lean: Divided
    facial_position: Divided
    fractions: dict[str, Variance]


@dataclass(frozen=True, slots=True)
class Share:
    """A share of the variance with its 95 % limits, cut to 0 .. 1."""

    value: Floats
    low: Floats
    high: Floats


def refusal(n_pairs: int) -> str | None:
    """Say why nothing is divided; None where it is."""
    if n_pairs >= FEWEST_PAIRS:
        return None
    return (
        f"Not divided: {counted(n_pairs, 'pair')}; at least {FEWEST_PAIRS} are needed."
    )


def caution(n_pairs: int) -> str | None:
    """Say that there are few pairs; None where there are enough."""
    if n_pairs >= ENOUGH_PAIRS:
        return None
    return (
        f"Too few to divide: {counted(n_pairs, 'pair')}, and below {ENOUGH_PAIRS} the"
        " parts swing widely; look at their intervals."
    )


def budget(pairs: Pairs) -> Budget:
    """Divide each component into common and own variance.

    Args:
        pairs: (.., n) pairs of different patients, n at least 8; bias does not matter.

    Raises:
        ValueError: there are fewer than 8 pairs.
    """
    _check(pairs)
    e, w2 = pairs.errors, pairs.w2
    of_mean = average_kurtosis((e.shift_left, e.shift_up, pairs.mean_lean, e.pitch))
    of_apart = average_kurtosis((e.spacing, e.convergence, e.sagittal, e.contradiction))

    def mean(values: Floats) -> Variance:
        return with_limits(sample_variance(values), degrees_of_freedom(values, of_mean))

    def apart(values: Floats) -> Variance:
        return with_limits(
            sample_variance(values), degrees_of_freedom(values, of_apart)
        )

    def fraction(both: Floats, difference: Floats) -> Variance:
        return _fraction(
            4 * sample_variance(both) / sample_variance(difference),
            degrees_of_freedom(both, of_mean),
            degrees_of_freedom(difference, of_apart),
        )

    def divided(both: Floats, difference: Floats) -> Divided:
        whole, half = mean(both), apart(difference)
        return Divided(half.times(0.5), combined((1, whole), (-0.25, half)))

    contradiction, convergence = apart(e.contradiction), apart(e.convergence)
    own_depth = combined((w2 / 2, contradiction), (-w2 / 8, convergence))
    height = combined(
        (1, mean(e.shift_up)), (-w2 / 4, contradiction), (w2 / 16, convergence)
    )
    turn = combined(
        (1, mean(pairs.slope)), (-1, contradiction), (0.25, convergence)
    ).times(w2 / 4)
    forward = combined((1, mean(e.shift_back)), (w2 / 4, mean(e.yaw)))
    return Budget(
        left_right=divided(e.shift_left, e.spacing),
        depth=Divided(own_depth, height),
        see_saw=Divided(None, turn),
        frontal_lean=divided(pairs.mean_lean, e.convergence),
        sagittal_lean=divided(e.pitch, e.sagittal),
        facial_position=Divided(None, forward),
        fractions={
            "left_right": fraction(e.shift_left, e.spacing),
            "frontal_lean": fraction(pairs.mean_lean, e.convergence),
            "sagittal_lean": fraction(e.pitch, e.sagittal),
        },
    )


def _fraction(ratio: Floats, df_mean: Floats, df_apart: Floats) -> Variance:
    """Return the share that is common: (R - 1)/(R + 1), R = 4 s2(mean)/s2(difference)."""

    def at(tail: float) -> Floats:
        scaled = ratio / fdtri(df_mean, df_apart, tail)
        share: Floats = (scaled - 1) / (scaled + 1)
        return share

    return Variance((ratio - 1) / (ratio + 1), at(UPPER_TAIL), at(1 - UPPER_TAIL))


def common_share(pairs: Pairs, superimposing: PairErrors | None = None) -> Share:
    """Share of the whole scatter, over eight of the ten numbers, that is common.

    Args:
        pairs: (.., n) pairs of different patients, n at least 8.
        superimposing: variance that the superimposition gives to each of the ten
            numbers, (.., n), mm2 and radians2. With it the share is what both moved
            together beyond the superimposition; without it, guide or superimposition.

    Returns:
        The share, with limits z -+ t se on z = ln(not common / all), se from the
        pseudo-values of leaving out one case at a time.

    Raises:
        ValueError: there are fewer than 8 pairs.
    """
    _check(pairs)
    n = pairs.n
    added = np.zeros(pairs.errors.shift_left.shape)
    if superimposing is not None:
        s = superimposing
        added = (
            4 * (s.shift_left + s.shift_up)
            + pairs.l2 * s.pitch
            + (pairs.l2 + pairs.w2) * s.roll
        )
    whole = _log_share(pairs, sample_variance, added.mean(axis=-1))
    added_without = (n * added.mean(axis=-1, keepdims=True) - added) / (n - 1)
    each = _log_share(pairs, without_each, added_without)
    pseudo = n * whole[..., None] - (n - 1) * each
    se = np.sqrt(sample_variance(pseudo) / n)
    t = float(stdtrit(n - 1, UPPER_TAIL))

    def share(log_ratio: Floats) -> Floats:
        cut: Floats = np.clip(1 - np.exp(log_ratio), 0, 1)
        return cut

    return Share(share(whole), share(whole + t * se), share(whole - t * se))


def _log_share(pairs: Pairs, s2: Spread, added: Floats) -> Floats:
    """Return ln((own + added)/all) over the eight numbers that can be divided."""
    e, l2, w2 = pairs.errors, pairs.l2, pairs.w2
    apart, convergence = s2(e.spacing), s2(e.convergence)
    sagittal = s2(e.sagittal)
    own_depth = np.maximum(0, w2 / 2 * (s2(e.contradiction) - convergence / 4))
    own = 2 * apart + l2 / 2 * (convergence + sagittal) + 4 * own_depth
    everything = (
        4 * (s2(e.shift_left) + s2(e.shift_up))
        + apart
        + w2 * s2(pairs.slope)
        + l2 * (s2(pairs.mean_lean) + s2(e.pitch))
        + l2 / 4 * (convergence + sagittal)
    )
    ratio: Floats = np.log((own + added) / everything)
    return ratio


def _check(pairs: Pairs) -> None:
    said = refusal(pairs.n)
    if said:
        raise ValueError(said)

"""Which mend brings a case back to plausible, by how much, and whether it is the only one.

A mend counts when no limit is broken with it, and, where plan and result lay too far
apart, when it takes away most of that: four fifths of the misfit. A shift takes its three
numbers from the case and fits nearly anything, so it counts only where nothing else
does, and only when it takes away nine tenths.

Two mends do equally well when their misfits are within a factor of two: that is a factor
of 1.4 in millimetres, less than the next reading of the case may change. A mirror image
and exchanged labels cannot be told apart on a plan that is the same left and right; the
other axis convention turns the lean seen from the side as well, and can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.geometry.mends import Mend, applied, can_be_tried
from pipeline.geometry.plausible import (
    Judged,
    Limits,
    Pairs,
    judged,
    largest,
    lean_forward_deg,
)
from pipeline.geometry.registration import Flags, Floats

SHARE_LEFT = 0.2
SHARE_LEFT_BY_A_FIT = 0.1
EQUAL_WITHIN = 2.0
NEGLIGIBLE_MISFIT = 0.005
"""Misfits that differ by less are equal whatever their ratio (half a millimetre)."""

NONE = -1
CASES_AT_ONCE = 50_000
"""Keeps the table of cases by mends small."""

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Diagnoses:
    """What came of trying all mends on n cases.

    Attributes:
        best: (n,) place of the mend in the list given, the first of those that do
            equally well; ``NONE`` where none brings the case back.
        also: (n, m) for each mend of the list, whether it does equally well.
        before: the cases as they stand.
        entry_after_mm: (n, m) larger entry distance of both implants with each mend;
            NaN where it does not count or nothing is known, as the two below.
        angle_after_deg: (n, m) larger angle of both implants.
        lean_forward_deg: (n, m) mean lean of the result seen from the side.
    """

    best: Places
    also: Flags
    before: Judged
    entry_after_mm: Floats
    angle_after_deg: Floats
    lean_forward_deg: Floats

    def of_best(self, values: Floats) -> Floats:
        """Return (n,) the values (n, m) of the best mend; NaN where there is none."""
        taken = values[np.arange(len(self.best)), np.maximum(self.best, 0)]
        return np.where(self.best == NONE, np.nan, taken)

    @property
    def is_unique(self) -> Flags:
        """Where one mend brings the case back and no other does as well."""
        unique: Flags = self.also.sum(axis=1) == 1
        return unique


def diagnose(pairs: Pairs, limits: Limits, mends: Sequence[Mend]) -> Diagnoses:
    """Try every mend on every case.

    Args:
        pairs: the cases.
        limits: what passes the checks.
        mends: the mends to try, the commonest first.
    """
    starts = range(0, max(len(pairs), 1), CASES_AT_ONCE)
    parts = [
        _diagnose(pairs.only(slice(start, start + CASES_AT_ONCE)), limits, mends)
        for start in starts
    ]

    def joined(name: str) -> Any:
        return np.concatenate([attrgetter(name)(part) for part in parts])

    return Diagnoses(
        best=joined("best"),
        also=joined("also"),
        before=Judged(*(joined(f"before.{name}") for name in Judged.__slots__)),
        entry_after_mm=joined("entry_after_mm"),
        angle_after_deg=joined("angle_after_deg"),
        lean_forward_deg=joined("lean_forward_deg"),
    )


@np.errstate(over="ignore", invalid="ignore")  # points of 1e200 mm are no implants
def _diagnose(pairs: Pairs, limits: Limits, mends: Sequence[Mend]) -> Diagnoses:
    shape = (len(pairs), len(mends))
    before = judged(pairs, limits)
    misfit, entry, angle, lean = (np.full(shape, np.nan) for _ in range(4))
    for place, mend in enumerate(mends):
        tried = can_be_tried(mend, pairs) & _is_worth_trying(mend, before)
        if not tried.any():
            continue
        mended = applied(mend, pairs.only(tried))
        after = judged(mended, limits)
        counts = _counts(mend, _only(before, tried), after, limits)
        rows = np.flatnonzero(tried)[counts]
        same = mend.is_only_of_units
        misfit[rows, place] = (before.misfit[tried] if same else after.misfit)[counts]
        entry[rows, place] = largest(after.entry_mm)[counts]
        angle[rows, place] = largest(after.angle_deg)[counts]
        if counts.any():
            lean[rows, place] = _lean(mended.only(counts))
    also = _equally_good(misfit, mends)
    best = np.where(also.any(axis=1), also.argmax(axis=1), NONE)
    return Diagnoses(best, also, before, entry, angle, lean)


def _is_worth_trying(mend: Mend, before: Judged) -> Flags:
    """Return where something is broken that the mend could put right."""
    if mend.concerns_lengths:
        return before.count_lengths_broken > 0
    return (before.count_broken > 0) & (before.count_lengths_broken == 0)


def _counts(mend: Mend, before: Judged, after: Judged, limits: Limits) -> Flags:
    """Return where a mend counts: nothing is broken with it, and it gained enough."""
    nothing_lost = np.isnan(before.entry_mm) == np.isnan(after.entry_mm)
    with np.errstate(invalid="ignore"):
        was_far = (largest(before.entry_mm) > limits.entry_mm) | (
            largest(before.angle_deg) > limits.angle_deg
        )
    share = SHARE_LEFT_BY_A_FIT if mend.is_fitted else SHARE_LEFT
    gained = after.misfit <= share * before.misfit
    is_enough = gained if mend.is_fitted else gained | ~was_far
    counts: Flags = after.is_plausible & nothing_lost.all(axis=1) & is_enough
    return counts


def _equally_good(misfit: Floats, mends: Sequence[Mend]) -> Flags:
    """Return (n, m) which mends do as well as the best; a fitted one stands back."""
    tried = np.where(np.isnan(misfit), np.inf, misfit)
    fitted = np.array([mend.is_fitted for mend in mends])
    is_other = np.isfinite(tried[:, ~fitted]).any(axis=1)
    tried[np.ix_(is_other, fitted)] = np.inf
    least = tried.min(axis=1, keepdims=True)
    enough = np.maximum(EQUAL_WITHIN * least, least + NEGLIGIBLE_MISFIT)
    equal: Flags = np.isfinite(tried) & (tried <= enough)
    return equal


def _lean(pairs: Pairs) -> Floats:
    result = lean_forward_deg(pairs.achieved, pairs.is_lower)
    plan = lean_forward_deg(pairs.planned, pairs.is_lower)
    return np.where(np.isnan(result), plan, result)


def _only(found: Judged, which: Flags) -> Judged:
    return Judged(*(getattr(found, name)[which] for name in Judged.__slots__))

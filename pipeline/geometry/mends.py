"""Candidate mends: what a clinic may have done to the points of two implants, undone.

A mend is tried on every case at once and judged by what it leaves. None is applied
here: the answer says which mend brings a case back to plausible, and by how much.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.geometry.plausible import ENTRY, LEFT, RIGHT, Pairs
from pipeline.geometry.registration import Flags, Floats

PLANNED, ACHIEVED, BOTH = "planned", "achieved", "both"
SIDES = {"left": (LEFT,), "right": (RIGHT,), BOTH: (LEFT, RIGHT), "": (LEFT, RIGHT)}
AXES = {"x": 0, "y": 1, "z": 2}
OTHER_CONVENTION = np.array([-1.0, -1.0, 1.0])
"""Left and back against right and forward: half a turn about the upright axis."""


@dataclass(frozen=True, slots=True)
class Mend:
    """One thing that can be undone.

    Attributes:
        action: ends (entry and apex exchanged), sites (left and right exchanged), axes
            (x and y negated), mirror (one axis negated), scale, states (plan and result
            exchanged), shift (one constant shift) or inverse (of a known motion).
        state: planned, achieved or both.
        side: left, right or both; empty where the action concerns the pair.
        detail: the axis of a mirror, or the factor of a scale; else empty.
    """

    action: str
    state: str
    side: str = ""
    detail: str = ""

    @property
    def name(self) -> str:
        """Short name, such as ``achieved_ends_left`` or ``both_scale_both_10``."""
        parts = (self.state, self.action, self.side, self.detail)
        return "_".join(part for part in parts if part)

    @property
    def is_fitted(self) -> bool:
        """Whether numbers of the mend are taken from the case it mends."""
        return self.action == "shift"

    @property
    def is_only_of_units(self) -> bool:
        """Whether it changes all figures of an implant alike, so that none can tell."""
        return self.action == "scale" and self.state == BOTH

    @property
    def concerns_lengths(self) -> bool:
        """Whether it can put right an axis that is not as long as its label says."""
        return self.action in ("scale", "states")


def applied(mend: Mend, pairs: Pairs) -> Pairs:
    """Return the cases as the mend would have them."""
    if mend.action == "states":
        return pairs.with_points(pairs.achieved, pairs.planned)
    change = _changes(mend, pairs)
    planned, achieved = pairs.planned, pairs.achieved
    if mend.state in (PLANNED, BOTH):
        planned = change(planned)
    if mend.state in (ACHIEVED, BOTH):
        achieved = change(achieved)
    return pairs.with_points(planned, achieved)


def can_be_tried(mend: Mend, pairs: Pairs) -> Flags:
    """Return (n,) where all the points that the mend moves are known."""
    states = {PLANNED: (pairs.planned,), ACHIEVED: (pairs.achieved,)}.get(
        mend.state, (pairs.planned, pairs.achieved)
    )
    sides = list(SIDES[mend.side])
    known = [~np.isnan(points[:, sides]).any(axis=(1, 2, 3)) for points in states]
    allowed: Flags = np.logical_and.reduce(known)
    if mend.action == "inverse":
        if pairs.rotation is None:
            return np.zeros(len(pairs), bool)
        return allowed & ~np.isnan(pairs.rotation).any(axis=(1, 2))
    if mend.action == "shift":
        return allowed & ~np.isnan(pairs.planned).any(axis=(1, 2, 3))
    return allowed


def _changes(mend: Mend, pairs: Pairs) -> Callable[[Floats], Floats]:
    """Return what the mend does to the points of one state."""
    sides = list(SIDES[mend.side])
    changes: dict[str, Callable[[Floats], Floats]] = {
        "ends": lambda points: _some(points, sides, points[:, sides, ::-1]),
        "sites": lambda points: points[:, ::-1],
        "axes": lambda points: points * OTHER_CONVENTION,
        "mirror": lambda points: points * _mirrored(mend.detail),
        "scale": lambda points: _some(
            points, sides, points[:, sides] * float(mend.detail)
        ),
        "shift": lambda points: points - _common_shift(pairs)[:, None, None],
        "inverse": lambda points: led_back(led_back(points, pairs), pairs),
    }
    return changes[mend.action]


def _mirrored(axis: str) -> Floats:
    return np.where(np.arange(3) == AXES[axis], -1.0, 1.0)


def _some(points: Floats, sides: list[int], changed: Floats) -> Floats:
    """Return the points with those of some sides changed."""
    found = points.copy()
    found[:, sides] = changed
    return found


def _common_shift(pairs: Pairs) -> Floats:
    """Return (n, 3) how far both entries lie off the plan together."""
    apart = pairs.achieved[:, :, ENTRY] - pairs.planned[:, :, ENTRY]
    mean: Floats = apart.mean(axis=1)
    return mean


def led_back(points: Floats, pairs: Pairs) -> Floats:
    """Undo the known motion once: point = rotation @ found + shift; (n, 2, 2, 3) mm."""
    assert pairs.rotation is not None  # noqa: S101 - can_be_tried looked
    assert pairs.shift is not None  # noqa: S101
    off = points - pairs.shift[:, None, None]
    moved: Floats = np.einsum("nji,nspj->nspi", pairs.rotation, off)
    return moved

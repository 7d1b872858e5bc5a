"""The errors of many pairs as ten numbers each, and what they say of each implant.

Left and right implant share the plan, the guide and the superimposition. Six numbers are
such as a rigid motion of both makes (both moved together), four are such as none can.
Arrays have the cases last, so that many audits can be judged at once.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SIDES = np.array([0.5, -0.5])
"""Share of the difference left - right that each side takes."""


@dataclass(frozen=True, slots=True)
class PairErrors:
    """Ten numbers of each pair; shape (.., n) each, millimetres and radians.

    Attributes:
        shift_left: both to the patient's left, at the middle of the axes.
        shift_back: both backward.
        shift_up: both toward the opposing teeth.
        roll: both upper ends to the left, the left implant sinking.
        pitch: both upper ends forward.
        yaw: the left implant back, the right one forward.
        spacing: further apart.
        convergence: upper ends closer together in the frontal plane.
        sagittal: left minus right forward lean.
        contradiction: mean lean to the left minus the turn of the line between them.
    """

    shift_left: Floats
    shift_back: Floats
    shift_up: Floats
    roll: Floats
    pitch: Floats
    yaw: Floats
    spacing: Floats
    convergence: Floats
    sagittal: Floats
    contradiction: Floats


@dataclass(frozen=True, slots=True)
class Pairs:
    """Errors of the pairs of an audit, with the size a pair has.

    Attributes:
        errors: the ten numbers.
        length_mm: mean planned length L of an implant.
        spacing_mm: mean planned distance W of the two entries.
    """

    errors: PairErrors
    length_mm: float
    spacing_mm: float

    @property
    def n(self) -> int:
        """How many pairs there are."""
        return int(self.errors.shift_left.shape[-1])

    @property
    def l2(self) -> float:
        """Length squared, mm2."""
        return self.length_mm**2

    @property
    def w2(self) -> float:
        """Distance squared, mm2."""
        return self.spacing_mm**2

    @property
    def mean_lean(self) -> Floats:
        """Mean lean of both upper ends to the left, radians."""
        share = self.w2 / (self.l2 + self.w2)
        lean: Floats = self.errors.roll + share * self.errors.contradiction
        return lean

    @property
    def slope(self) -> Floats:
        """Turn of the line between the implants: the left one sinks; radians."""
        share = self.l2 / (self.l2 + self.w2)
        turn: Floats = self.errors.roll - share * self.errors.contradiction
        return turn

    def implants(self) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return left, back, up (mm) and lean left, lean back (radians): (.., n, 2).

        The left implant stands first. Places are those of the middle of the axis.
        """
        e = self.errors

        def sides(mean: Floats, apart: Floats) -> Floats:
            both: Floats = mean[..., None] + SIDES * apart[..., None]
            return both

        return (
            sides(e.shift_left, e.spacing),
            sides(e.shift_back, self.spacing_mm * e.yaw),
            sides(e.shift_up, -self.spacing_mm * self.slope),
            sides(self.mean_lean, -e.convergence),
            sides(-e.pitch, -e.sagittal),
        )

    def centred(self) -> Pairs:
        """Return the pairs counted from the mean of each number: bias taken off."""
        e = self.errors
        values = (getattr(e, field.name) for field in fields(e))
        return Pairs(
            PairErrors(*(v - v.mean(axis=-1, keepdims=True) for v in values)),
            self.length_mm,
            self.spacing_mm,
        )

    def rigid_mm2(self) -> Floats:
        """Squared error of the four points (entries, apices) that a rigid motion makes."""
        e = self.errors
        shift = e.shift_left**2 + e.shift_back**2 + e.shift_up**2
        turned: Floats = (
            4 * shift
            + self.l2 * e.pitch**2
            + self.w2 * e.yaw**2
            + (self.l2 + self.w2) * e.roll**2
        )
        return turned

    def not_rigid_mm2(self) -> Floats:
        """Squared error of the four points that no rigid motion makes."""
        e = self.errors
        left: Floats = (
            e.spacing**2
            + self.l2 / 4 * (e.convergence**2 + e.sagittal**2)
            + self.l2 * self.w2 / (self.l2 + self.w2) * e.contradiction**2
        )
        return left


def errors_from_implants(
    left: Floats,
    back: Floats,
    up: Floats,
    lean_left: Floats,
    lean_back: Floats,
    *,
    length_mm: float | Floats,
    spacing_mm: float | Floats,
) -> PairErrors:
    """Turn the errors of both implants, (.., n, 2) with the left first, into ten numbers.

    Args:
        left: place of the middle of each axis, mm; ``back`` and ``up`` likewise.
        back: see ``left``.
        up: see ``left``.
        lean_left: lean of each upper end, radians.
        lean_back: see ``lean_left``.
        length_mm: planned length of an implant, one or (.., n).
        spacing_mm: planned distance of the entries, one or (.., n).
    """

    def mean(both: Floats) -> Floats:
        middle: Floats = both.mean(axis=-1)
        return middle

    def apart(both: Floats) -> Floats:
        difference: Floats = both[..., 0] - both[..., 1]
        return difference

    l2, w2 = length_mm**2, spacing_mm**2
    lean, slope = mean(lean_left), -apart(up) / spacing_mm
    return PairErrors(
        shift_left=mean(left),
        shift_back=mean(back),
        shift_up=mean(up),
        roll=(l2 * lean + w2 * slope) / (l2 + w2),
        pitch=-mean(lean_back),
        yaw=apart(back) / spacing_mm,
        spacing=apart(left),
        convergence=-apart(lean_left),
        sagittal=-apart(lean_back),
        contradiction=lean - slope,
    )


def pairs_from_implants(
    left: Floats,
    back: Floats,
    up: Floats,
    lean_left: Floats,
    lean_back: Floats,
    *,
    length_mm: float,
    spacing_mm: float,
) -> Pairs:
    """Turn the errors of both implants, (.., n, 2) with the left first, into pairs."""
    errors = errors_from_implants(
        left,
        back,
        up,
        lean_left,
        lean_back,
        length_mm=length_mm,
        spacing_mm=spacing_mm,
    )
    return Pairs(errors, length_mm, spacing_mm)

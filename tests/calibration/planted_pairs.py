"""Invented pairs with a known budget: what both share, what each has by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from pipeline.statistics.pair_errors import PairErrors, Pairs, pairs_from_implants

Floats = NDArray[np.float64]

LENGTH_MM, SPACING_MM = 12.0, 22.0
OWN_MM = (0.4, 0.4, 0.3)
"""Own scatter of each implant left, back and up."""
OWN_RAD = (np.radians(2.0), np.radians(2.0))
"""Own lean to the left and to the back."""
GUIDE = (0.6, 0.6, 0.35, *np.radians((1.5, 2.0, 1.0)))
"""Before scaling: shift left, back, up in mm, then roll, pitch, yaw."""
SUPERIMPOSING = (0.15, 0.15, 0.15, *np.radians((0.4, 0.4, 0.4)))
"""Standard deviations of the six numbers that the superimposition adds."""
PART_BAD, BAD_TIMES = 0.1, 3.0

Draw = Callable[[Generator, tuple[int, ...]], Floats]


def normal(rng: Generator, shape: tuple[int, ...]) -> Floats:
    """Standard normal draws."""
    return rng.standard_normal(shape)


def heavy(rng: Generator, shape: tuple[int, ...]) -> Floats:
    """Student t draws with 5 degrees of freedom, variance 1."""
    drawn: Floats = rng.standard_t(5, shape) * np.sqrt(3 / 5)
    return drawn


def bad_guides(rng: Generator, shape: tuple[int, ...]) -> Floats:
    """Normal draws, a tenth of the cases three times as wide, variance 1."""
    times = np.where(rng.random((*shape[:-1], 1)) < PART_BAD, BAD_TIMES, 1.0)
    drawn: Floats = rng.standard_normal(shape) * times
    return drawn / np.sqrt(1 - PART_BAD + PART_BAD * BAD_TIMES**2)


@dataclass(frozen=True, slots=True)
class Planted:
    """A kind of audit.

    Attributes:
        name: printed in the table.
        guide_share: planted share of what is neither own nor superimposing... of all
            scatter in the eight numbers that can be divided.
        own: draws of what each implant has by itself.
        guide: draws of what the guide gives to both.
        is_superimposed: the superimposition adds its own error.
    """

    name: str
    guide_share: float
    own: Draw
    guide: Draw
    is_superimposed: bool

    @property
    def own_eight(self) -> float:
        """Own variance over the eight numbers, mm2."""
        left, _, up = OWN_MM
        leans = LENGTH_MM**2 * sum(lean**2 for lean in OWN_RAD)
        return float(4 * (left**2 + up**2) + leans)

    @property
    def added_eight(self) -> float:
        """Variance of the superimposition over the eight numbers, mm2."""
        return eight(SUPERIMPOSING) if self.is_superimposed else 0.0

    @property
    def guide_sd(self) -> tuple[float, ...]:
        """The guide's six standard deviations, scaled to the planted share."""
        rest = self.own_eight + self.added_eight
        wanted = self.guide_share / (1 - self.guide_share) * rest
        return tuple(float(sd * np.sqrt(wanted / eight(GUIDE))) for sd in GUIDE)

    @property
    def added_sd(self) -> tuple[float, ...]:
        """The superimposition's six standard deviations."""
        return tuple(float(sd) * self.is_superimposed for sd in SUPERIMPOSING)

    def truths(self) -> dict[str, float]:
        """Variances and shares that the estimators should find."""
        both = [g**2 + a**2 for g, a in zip(self.guide_sd, self.added_sd, strict=True)]
        guide = eight(self.guide_sd)
        everything = guide + self.added_eight + self.own_eight
        left, _, up, roll, pitch, _ = both
        return {
            "own left-right": OWN_MM[0] ** 2,
            "own depth": OWN_MM[2] ** 2,
            "own frontal lean": float(OWN_RAD[0] ** 2),
            "own sagittal lean": float(OWN_RAD[1] ** 2),
            "common left-right": left,
            "common depth": up,
            "common see-saw": roll * SPACING_MM**2 / 4,
            "common frontal lean": roll,
            "common sagittal lean": pitch,
            "fraction left-right": left / (left + OWN_MM[0] ** 2),
            "fraction sagittal lean": float(pitch / (pitch + OWN_RAD[1] ** 2)),
            "share beyond the superimposition": guide / everything,
            "share of both together": 1 - self.own_eight / everything,
        }


def eight(sd: tuple[float, ...]) -> float:
    """Variance that six rigid numbers give to the eight that can be divided, mm2."""
    left, _, up, roll, pitch, _ = (value**2 for value in sd)
    return float(
        4 * (left + up) + (LENGTH_MM**2 + SPACING_MM**2) * roll + LENGTH_MM**2 * pitch
    )


def draw(planted: Planted, shape: tuple[int, int], rng: Generator) -> Pairs:
    """Draw audits of pairs: (audits, n) in each number."""
    left, back, up = (sd * planted.own(rng, (*shape, 2)) for sd in OWN_MM)
    lean_left, lean_back = (sd * planted.own(rng, (*shape, 2)) for sd in OWN_RAD)
    own = pairs_from_implants(
        left, back, up, lean_left, lean_back, length_mm=LENGTH_MM, spacing_mm=SPACING_MM
    ).errors
    rigid = np.array(planted.guide_sd) * planted.guide(rng, (*shape, 6))
    rigid += np.array(planted.added_sd) * rng.standard_normal((*shape, 6))
    names = ("shift_left", "shift_back", "shift_up", "roll", "pitch", "yaw")
    moved = {name: getattr(own, name) + rigid[..., i] for i, name in enumerate(names)}
    kept = {
        name: getattr(own, name)
        for name in ("spacing", "convergence", "sagittal", "contradiction")
    }
    return Pairs(PairErrors(**moved, **kept), LENGTH_MM, SPACING_MM)


def added(planted: Planted, shape: tuple[int, int]) -> PairErrors:
    """Variance the superimposition gives to each number, as propagation would say it."""
    six = [np.full(shape, sd**2) for sd in planted.added_sd]
    nothing = [np.zeros(shape) for _ in range(4)]
    return PairErrors(*six, *nothing)

"""Invented pairs with a known budget: what both share, what each has by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from pipeline.geometry.play import play, reach_mm
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
HOLE = {"bore_mm": 2.2, "hole_length_mm": 6.0, "drill_mm": 2.0}
HOLE_TO_ENTRY_MM = 5.0
PART_BATCH, BATCH_SDS = 5, 2.0
"""One case in so many, the last ones, is of a batch so many sds of the guide off."""
DRIFT_SDS = 3.0
"""From the first case to the last, in sds of the guide."""

Draw = Callable[[Generator, tuple[int, ...]], Floats]
Pattern = Callable[[int], Floats]


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


def steady(n_pairs: int) -> Floats:
    """Return guides that do not change from the first case to the last."""
    return np.zeros(n_pairs)


def one_batch(n_pairs: int) -> Floats:
    """Return guides of which the last batch is off, in sds of the guide."""
    is_bad = np.arange(n_pairs) >= n_pairs - n_pairs // PART_BATCH
    return BATCH_SDS * is_bad


def drift(n_pairs: int) -> Floats:
    """Return guides that get off evenly from case to case, in sds of the guide."""
    return np.linspace(0.0, DRIFT_SDS, n_pairs)


@dataclass(frozen=True, slots=True)
class Planted:
    """A kind of audit.

    Attributes:
        name: printed in the table.
        guide_share: planted share of the guide in all scatter, over the eight numbers
            that can be divided, before ``pattern`` adds to it.
        own: draws of what each implant has by itself.
        guide: draws of what the guide gives to both.
        is_superimposed: the superimposition adds its own error.
        pattern: what the guides of an audit are off from case to case, (n,).
        is_play: what each implant has by itself is the play of the drill, nothing else.
    """

    name: str
    guide_share: float
    own: Draw
    guide: Draw
    is_superimposed: bool
    pattern: Pattern = steady
    is_play: bool = False

    @property
    def own_sd(self) -> tuple[float, ...]:
        """Own scatter left, back, up in mm, then lean to the left and to the back."""
        if not self.is_play:
            return (*OWN_MM, *map(float, OWN_RAD))
        tilt, reach = play_of_the_drill()
        return reach / 2, reach / 2, 0.0, tilt / 2, tilt / 2

    @property
    def own_eight(self) -> float:
        """Own variance over the eight numbers, mm2."""
        left, _, up, *leans = self.own_sd
        return float(
            4 * (left**2 + up**2) + LENGTH_MM**2 * sum(lean**2 for lean in leans)
        )

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

    def truths(self, n_pairs: int) -> dict[str, float]:
        """Variances and shares that the estimators should find among so many pairs."""
        times = 1 + float(np.var(self.pattern(n_pairs), ddof=1))
        both = [
            times * g**2 + a**2
            for g, a in zip(self.guide_sd, self.added_sd, strict=True)
        ]
        guide = times * eight(self.guide_sd)
        everything = guide + self.added_eight + self.own_eight
        left, _, up, roll, pitch, _ = both
        own_left, _, own_up, lean_left, lean_back = (sd**2 for sd in self.own_sd)
        return {
            "own left-right": own_left,
            "own depth": own_up,
            "own frontal lean": lean_left,
            "own sagittal lean": lean_back,
            "common left-right": left,
            "common depth": up,
            "common see-saw": roll * SPACING_MM**2 / 4,
            "common frontal lean": roll,
            "common sagittal lean": pitch,
            "fraction left-right": left / (left + own_left),
            "fraction sagittal lean": pitch / (pitch + lean_back),
            "share beyond the superimposition": guide / everything,
            "share of both together": 1 - self.own_eight / everything,
        }


def eight(sd: tuple[float, ...]) -> float:
    """Variance that six rigid numbers give to the eight that can be divided, mm2."""
    left, _, up, roll, pitch, _ = (value**2 for value in sd)
    return float(
        4 * (left + up) + (LENGTH_MM**2 + SPACING_MM**2) * roll + LENGTH_MM**2 * pitch
    )


def play_of_the_drill() -> tuple[float, float]:
    """Return the largest tilt, radians, and how far it takes the middle of an axis."""
    tilt_deg = float(play(**HOLE).tilt_deg)
    beyond = HOLE_TO_ENTRY_MM + LENGTH_MM / 2
    return float(np.radians(tilt_deg)), float(
        reach_mm(tilt_deg, HOLE["hole_length_mm"], beyond)
    )


def draw(planted: Planted, shape: tuple[int, int], rng: Generator) -> Pairs:
    """Draw audits of pairs: (audits, n) in each number."""
    own = pairs_from_implants(
        *_each_by_itself(planted, shape, rng),
        length_mm=LENGTH_MM,
        spacing_mm=SPACING_MM,
    ).errors
    off = planted.guide(rng, (*shape, 6)) + planted.pattern(shape[1])[:, None]
    rigid = np.array(planted.guide_sd) * off
    rigid += np.array(planted.added_sd) * rng.standard_normal((*shape, 6))
    names = ("shift_left", "shift_back", "shift_up", "roll", "pitch", "yaw")
    moved = {name: getattr(own, name) + rigid[..., i] for i, name in enumerate(names)}
    kept = {
        name: getattr(own, name)
        for name in ("spacing", "convergence", "sagittal", "contradiction")
    }
    return Pairs(PairErrors(**moved, **kept), LENGTH_MM, SPACING_MM)


def _each_by_itself(
    planted: Planted, shape: tuple[int, int], rng: Generator
) -> list[Floats]:
    """Draw left, back, up, lean left, lean back of both implants: (audits, n, 2)."""
    if not planted.is_play:
        return [sd * planted.own(rng, (*shape, 2)) for sd in planted.own_sd]
    tilt, reach = play_of_the_drill()
    # evenly within the hole; the middle of the axis goes the other way from its upper end
    far = np.sqrt(rng.random((*shape, 2)))
    turned = 2 * np.pi * rng.random((*shape, 2))
    left, back = far * np.cos(turned), far * np.sin(turned)
    return [-reach * left, -reach * back, 0 * left, tilt * left, tilt * back]


def added(planted: Planted, shape: tuple[int, int]) -> PairErrors:
    """Variance the superimposition gives to each number, as propagation would say it."""
    six = [np.full(shape, sd**2) for sd in planted.added_sd]
    nothing = [np.zeros(shape) for _ in range(4)]
    return PairErrors(*six, *nothing)

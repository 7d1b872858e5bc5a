"""Invented pairs with one planted cause, read with error, on clean or ordinary ground."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from pipeline.statistics.pair_errors import errors_from_implants
from pipeline.statistics.signatures import (
    GUIDE_NUMBERS,
    MODES,
    SEEN,
    Seen,
    locating_covariance,
)

Floats = NDArray[np.float64]

LENGTH_MM, SPACING_MM, HOLE_MM = 11.0, 20.0, 7.0
PLACE_MM, LEAN_RAD = 0.12, np.radians(0.5)
"""Error of reading one implant's middle in one direction, its lean in one plane."""
SUPERIMPOSING = (0.12, 0.12, 0.12, *np.radians((0.35, 0.35, 0.35)))
ORDINARY_MM, ORDINARY_RAD = 0.2, np.radians(1.0)
"""Scatter of each implant by itself that goes with any surgery."""

Draw = Callable[[Generator, int], tuple[Floats, Floats]]
"""Errors of both implants, (n, 2, 5), and of the rigid motion, (n, 6)."""


@dataclass(frozen=True, slots=True)
class Planted:
    """A kind of case.

    Attributes:
        name: printed in the table.
        cause: what ought to be named; empty for pure noise.
        facts: what the records of such a case say.
        draw: its errors, without reading.
    """

    name: str
    cause: str
    facts: frozenset[str]
    draw: Draw


def _implants(n: int) -> Floats:
    return np.zeros((n, 2, 5))


def _tilts(sd_deg: float, above_entry_mm: float, rng: Generator, n: int) -> Floats:
    """Each implant leans its own way about a point above its entry."""
    implants = _implants(n)
    lean = np.radians(sd_deg) * rng.standard_normal((n, 2, 2))
    implants[:, :, 3:] = lean
    implants[:, :, :2] = -(LENGTH_MM / 2 + above_entry_mm) * lean
    return implants


def _nothing(_: Generator, n: int) -> tuple[Floats, Floats]:
    return _implants(n), np.zeros((n, 6))


def _seat(rng: Generator, n: int) -> tuple[Floats, Floats]:
    sd = 1.5 * np.array((0.6, 0.6, 0.35, *np.radians((1.5, 2.0, 1.0))))
    return _implants(n), sd * rng.standard_normal((n, 6))


def _play(rng: Generator, n: int) -> tuple[Floats, Floats]:
    return _tilts(1.5, HOLE_MM, rng, n), np.zeros((n, 6))


def _hand(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _tilts(6.0, 0.0, rng, n)
    implants[:, :, 1] += 0.8 * rng.standard_normal((n, 2))
    return implants, np.zeros((n, 6))


def _tubes(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _implants(n)
    lean = np.radians((6.0, -3.0)) * (1 + 0.1 * rng.standard_normal((n, 2)))
    implants[:, 0, 3:], implants[:, 1, 3:] = -lean / 2, lean / 2
    return implants, np.zeros((n, 6))


def _distance(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _implants(n)
    apart = 1.2 + 0.1 * rng.standard_normal(n)
    implants[:, 0, 0], implants[:, 1, 0] = apart / 2, -apart / 2
    return implants, np.zeros((n, 6))


def _one(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _implants(n)
    side = rng.integers(0, 2, n)
    place = 1.2 * rng.standard_normal((n, 3))
    lean = np.radians(6.0) * rng.standard_normal((n, 2))
    implants[np.arange(n), side] = np.concatenate([place, lean], axis=1)
    return implants, np.zeros((n, 6))


def _depth(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _implants(n)
    side = rng.integers(0, 2, n)
    implants[np.arange(n), side, 2] = 1.5 + 0.2 * rng.standard_normal(n)
    return implants, np.zeros((n, 6))


def _ridge(rng: Generator, n: int) -> tuple[Floats, Floats]:
    implants = _implants(n)
    lean = np.radians(5.0 + rng.standard_normal(n))[:, None]
    implants[:, :, 4] = lean
    implants[:, :, 1] = -LENGTH_MM / 2 * lean
    return implants, np.zeros((n, 6))


FULL, PILOT = frozenset({"all_drills_guided"}), frozenset({"pilot_only"})
PLANTED = (
    Planted("reading noise only", "", FULL, _nothing),
    Planted("reading noise only, pilot guide", "", PILOT, _nothing),
    Planted("seat or superimposition", "guide_or_superimposition", FULL, _seat),
    Planted("play only", "play", FULL, _play),
    Planted("pilot guide, finished by hand", "hand", PILOT, _hand),
    Planted("bad batch of tubes", "tubes", FULL, _tubes),
    Planted("distance of the guide", "distance", FULL, _distance),
    Planted("one implant", "one_implant", FULL, _one),
    Planted("depth stop at one implant", "depth", FULL, _depth),
    Planted("ridge led the drill aside", "ridge", FULL, _ridge),
)


def _modes(implants: Floats, rigid: Floats) -> Floats:
    moves = np.moveaxis(implants, -1, 0)
    errors = errors_from_implants(*moves, length_mm=LENGTH_MM, spacing_mm=SPACING_MM)
    modes = np.stack([getattr(errors, name) for name in MODES], axis=-1)
    modes[:, :6] += rigid
    return modes


def draw(
    planted: Planted, n: int, rng: Generator, *, is_ordinary: bool
) -> tuple[Seen, NDArray[np.bool_]]:
    """Return n cases as they are seen, and which were planted strongly enough.

    Strongly enough: a planted number is 3 times its uncertainty, which is that of
    locating and, on ordinary ground, of the ordinary scatter as well.
    """
    implants, rigid = planted.draw(rng, n)
    sd = np.repeat((PLACE_MM, LEAN_RAD), (3, 2))
    ground = np.repeat((ORDINARY_MM, ORDINARY_RAD), (3, 2)) * is_ordinary
    read = implants + np.hypot(sd, ground) * rng.standard_normal((n, 2, 5))
    moved = rigid + np.array(SUPERIMPOSING) * rng.standard_normal((n, 6))
    numbers = np.full((n, len(MODES) + len(GUIDE_NUMBERS)), np.nan)
    numbers[:, : len(MODES)] = _modes(read, moved)
    covariance = np.full((n, numbers.shape[1], numbers.shape[1]), np.nan)
    size = [np.full(n, value) for value in (LENGTH_MM, SPACING_MM)]
    superimposing = np.tile(SUPERIMPOSING, (n, 1))

    def located(place: float, lean: float) -> Floats:
        return locating_covariance(
            np.full(n, place), np.full(n, lean), superimposing, *size
        )

    covariance[:, : len(MODES), : len(MODES)] = located(PLACE_MM, LEAN_RAD)
    whole = located(float(np.hypot(sd, ground)[0]), float(np.hypot(sd, ground)[-1]))
    spread = np.sqrt(np.diagonal(whole, axis1=1, axis2=2))
    is_strong = (np.abs(_modes(implants, rigid)) >= SEEN * spread).any(axis=1)
    return Seen(numbers, covariance, *size, np.full(n, HOLE_MM)), is_strong

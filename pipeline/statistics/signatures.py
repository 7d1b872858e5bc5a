"""Which pattern fits the errors of a pair best: a signature is a set of moves.

The errors of a pair are thirteen numbers: the ten of `pair_errors` and three of the guide
as made. A pattern says which moves can make them (both implants alike, one implant alone,
a lean about the entry ..). It is fitted by least squares in units of what locating the
implants can tell, and compared with "no pattern" by what it leaves over and how many
moves it needs: 2 x score is the drop of Schwarz's criterion k ln(RSS/k) + d ln k (Ann
Stat 1978;6:461-464), where what is left over is never taken for smaller than the error
of locating. Arrays have the cases first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.reference.causes import Move
from pipeline.statistics.pair_errors import PairErrors, errors_from_implants

Floats = NDArray[np.float64]

MODES: Final = tuple(field.name for field in fields(PairErrors))
GUIDE_NUMBERS: Final = ("guide_spacing", "guide_convergence", "guide_sagittal")
NUMBERS: Final = (*MODES, *GUIDE_NUMBERS)
"""The numbers of a pair, in the order of the arrays; mm and radians."""

OF_GUIDE: Final = {
    "spacing": "guide_spacing",
    "convergence": "guide_convergence",
    "sagittal": "guide_sagittal",
}
"""The number of the guide as made that a move of the guide's tubes makes as well."""

IMPLANT_MOVES: Final = ("left", "back", "up", "lean_left", "lean_back")
SIDES: Final = {
    "left": (1.0, 0.0),
    "right": (0.0, 1.0),
    "both": (1.0, 1.0),
    "mirrored": (-1.0, 1.0),
}
"""How far the left and the right implant take part; mirrored: each toward the midline."""

SEEN: Final = 3.0
"""A number is seen when it is at least this many times its uncertainty."""

TAKES_PART: Final = 1e-9
"""A move that gives a number less than this is rounding."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of the pairs; n pairs.

    Attributes:
        numbers: the thirteen numbers, (n, 13), mm and radians; NaN where not known.
        covariance: of their errors, (n, 13, 13); NaN where not known.
        length_mm: planned length of an implant, (n,).
        spacing_mm: planned distance of the entries, (n,).
        hole_above_entry_mm: from the entry to the middle of the guide's hole, (n,);
            NaN where not known.
    """

    numbers: Floats
    covariance: Floats
    length_mm: Floats
    spacing_mm: Floats
    hole_above_entry_mm: Floats

    @property
    def times(self) -> Floats:
        """Each number in units of its uncertainty, (n, 13); NaN where not known."""
        sd = np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))
        with np.errstate(invalid="ignore", divide="ignore"):
            found: Floats = self.numbers / sd
        return found


@dataclass(frozen=True, slots=True)
class Fit:
    """How well one pattern fits each pair; n pairs.

    Attributes:
        score: above 0 it fits better than no pattern, (n,); NaN where the numbers that
            are known cannot tell.
        largest: largest of the numbers that the pattern can make, in units of its
            uncertainty, (n,).
        left_over: what of each number the pattern does not make, in the same units,
            (n, 13).
    """

    score: Floats
    largest: Floats
    left_over: Floats


def locating_covariance(
    place_sd_mm: Floats,
    lean_sd_rad: Floats,
    superimposing_sd: Floats,
    length_mm: Floats,
    spacing_mm: Floats,
) -> Floats:
    """Return the covariance of the ten numbers that locating the implants gives.

    Args:
        place_sd_mm: of one implant's middle in one direction, (n,).
        lean_sd_rad: of one implant's lean in one plane, (n,).
        superimposing_sd: of the six rigid numbers, (n, 6); NaN counts as nothing known
            to be added.
        length_mm: planned length, (n,).
        spacing_mm: planned distance of the entries, (n,).

    Returns:
        (n, 10, 10), mm and radians.
    """
    makes = _of_implants(length_mm, spacing_mm)
    places = np.repeat(place_sd_mm[:, None], 3, axis=1)
    leans = np.repeat(lean_sd_rad[:, None], 2, axis=1)
    one = np.concatenate([places, leans], axis=1)
    spread = makes * np.concatenate([one, one], axis=1)[:, None, :]
    found: Floats = spread @ spread.transpose(0, 2, 1)
    rigid = np.arange(superimposing_sd.shape[1])
    found[:, rigid, rigid] += np.nan_to_num(superimposing_sd) ** 2
    return found


def fit(seen: Seen, moves: Sequence[Move]) -> Fit:
    """Fit one pattern to each pair and compare it with no pattern."""
    white, whiten, count = _whitened(seen)
    basis = np.stack([_move(seen, move) for move in moves], axis=-1)
    is_told = np.isfinite(basis).all(axis=(1, 2))
    takes_part = np.abs(np.nan_to_num(basis)).max(axis=-1) > TAKES_PART
    columns = whiten @ np.nan_to_num(basis)
    made, rank = _projected(columns, white)
    rest = white - made
    with np.errstate(invalid="ignore"):
        score = _likelihood(rest, count) - _likelihood(white, count)
        score -= rank / 2 * np.log(np.maximum(count, 1))
    # as many moves as numbers explain anything, unless the guide itself was read
    of_guide = slice(len(MODES), None)
    is_read = (takes_part & np.isfinite(seen.times))[:, of_guide].any(axis=1)
    score[~is_told | (rank == 0) | ((rank >= count) & ~is_read)] = np.nan
    sizes = np.where(takes_part, np.abs(np.nan_to_num(seen.times)), 0.0)
    return Fit(score, sizes.max(axis=-1), rest)


def _whitened(seen: Seen) -> tuple[Floats, Floats, Floats]:
    """Return numbers with unit errors (0 where not known), what makes them, the count."""
    known = np.isfinite(seen.times)
    both = known[:, :, None] & known[:, None, :]
    alone = np.eye(len(NUMBERS)) * ~known[:, None, :]
    covariance = np.where(both, np.nan_to_num(seen.covariance), 0.0) + alone
    whiten: Floats = np.linalg.inv(np.linalg.cholesky(covariance)) * known[:, None, :]
    numbers = np.where(known, np.nan_to_num(seen.numbers), 0.0)
    white: Floats = np.einsum("nij,nj->ni", whiten, numbers)
    return white, whiten, known.sum(axis=1).astype(np.float64)


def _projected(columns: Floats, white: Floats) -> tuple[Floats, Floats]:
    """Return the part of each pair's numbers that the columns make, and their rank."""
    length = np.linalg.norm(columns, axis=1, keepdims=True)
    unit = np.divide(columns, length, out=np.zeros_like(columns), where=length > 0)
    values, turns = np.linalg.eigh(unit.transpose(0, 2, 1) @ unit)
    counts = values > 1e-6
    scaled = np.where(counts, 1 / np.sqrt(np.where(counts, values, 1.0)), 0.0)
    axes = (unit @ turns) * scaled[:, None, :]
    made: Floats = np.einsum("nij,nj->ni", axes, np.einsum("nji,nj->ni", axes, white))
    return made, counts.sum(axis=1).astype(np.float64)


def _scale2(rest: Floats, count: Floats) -> Floats:
    """Return the mean square of what is left over, never below the error of locating."""
    squares: Floats = (rest**2).sum(axis=1)
    return np.maximum(1.0, squares / np.maximum(count, 1))


def _likelihood(rest: Floats, count: Floats) -> Floats:
    """Return the log likelihood of what is left over, without its constant."""
    scale2 = _scale2(rest, count)
    found: Floats = -0.5 * (count * np.log(scale2) + (rest**2).sum(axis=1) / scale2)
    return found


def _of_implants(length_mm: Floats, spacing_mm: Floats) -> Floats:
    """Return what each move of each implant gives to the ten numbers: (n, 10, 10).

    The last axis has the five `IMPLANT_MOVES` of the left implant, then of the right.
    """
    n = len(length_mm)
    columns = []
    for side in range(2):
        for move in IMPLANT_MOVES:
            own = {name: np.zeros((n, 2)) for name in IMPLANT_MOVES}
            own[move][:, side] = 1.0
            errors = errors_from_implants(
                *own.values(), length_mm=length_mm, spacing_mm=spacing_mm
            )
            columns.append(np.stack(astuple(errors), axis=-1))
    found: Floats = np.stack(columns, axis=-1)
    return found


def _move(seen: Seen, move: Move) -> Floats:
    """Return what one unit of a move gives to the thirteen numbers, (n, 13)."""
    found = np.zeros(seen.numbers.shape)
    if move.side == "pair":
        found[:, NUMBERS.index(move.move)] = 1.0
    else:
        own = np.zeros((len(found), 2, len(IMPLANT_MOVES)))
        own[:, :, IMPLANT_MOVES.index(move.move)] = SIDES[move.side]
        if move.move.startswith("lean_"):
            along = IMPLANT_MOVES.index(move.move.removeprefix("lean_"))
            reach = _above_middle(seen, move.about)
            # the point it turns about stays, so the middle swings the other way
            own[:, :, along] = -reach[:, None] * np.array(SIDES[move.side])
        makes = _of_implants(seen.length_mm, seen.spacing_mm)
        found[:, : len(MODES)] = np.einsum(
            "nij,nj->ni", makes, own.reshape(len(found), -1)
        )
    if move.is_in_guide:
        for name, of_guide in OF_GUIDE.items():
            found[:, NUMBERS.index(of_guide)] = found[:, NUMBERS.index(name)]
    return found


def _above_middle(seen: Seen, about: str) -> Floats:
    """Return how far above the middle of the implant the point lies that it turns about."""
    half = seen.length_mm / 2
    above = {
        "": np.zeros_like(half),
        "entry": half,
        "hole": half + seen.hole_above_entry_mm,
    }
    return above[about]

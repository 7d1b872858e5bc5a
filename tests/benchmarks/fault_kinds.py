"""The kinds of fault: what a clinic does to its records, at three strengths each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.fault_records import Cells, Records

Array = NDArray[np.float64]
Draws = np.random.Generator
Severity = Literal["stop", "hold", "warn"]
Plant = Callable[[Records, int, Draws], None]
PlantFile = Callable[[list[Records], int, Draws], None]

STATES = ("planned", "achieved")
ENDS = ("entry", "apex")


@dataclass(frozen=True)
class Kind:
    """A kind of fault.

    Attributes:
        name: short name.
        shape: records it is planted in.
        severity: of the check that should find it: stop and hold set aside, warn only
            says.
        strengths: what the three strengths mean.
        checks: checks that name the fault rightly, as globs; any of them will do.
        mends: for faults of points, the mend that undoes it at each strength; "none"
            where the right answer is that none of the usual mends does.
        plant: changes the rows of one case in place; or of all cases of a file.
        is_of_file: whether it is planted in a whole file.
        why_unseen: why no check can see it at some strength; empty for most.
    """

    name: str
    shape: str
    severity: Severity
    strengths: tuple[str, str, str]
    checks: tuple[str, ...]
    plant: Plant | PlantFile
    mends: tuple[str, str, str] | None = None
    is_of_file: bool = False
    why_unseen: tuple[str, str, str] = ("", "", "")

    @property
    def is_of_points(self) -> bool:
        """Whether a diagnosis by mends is due."""
        return self.mends is not None


KINDS: list[Kind] = []


def kind(
    name: str,
    shape: str,
    severity: Severity,
    strengths: tuple[str, str, str],
    checks: str,
    **more: Any,
) -> Callable[[Plant | PlantFile], Plant | PlantFile]:
    """Register a way to plant a fault; ``more`` as in :class:`Kind`."""
    mends = more.pop("mends", None)
    three = (mends, mends, mends) if isinstance(mends, str) else mends

    def register(plant: Plant | PlantFile) -> Plant | PlantFile:
        told = tuple(checks.split())
        KINDS.append(Kind(name, shape, severity, strengths, told, plant, three, **more))
        return plant

    return register


def points(cells: Cells, state: str) -> Array:
    """Return entry and apex of one implant, (2, 3)."""
    return np.array(
        [[float(cells[f"{state}_{end}_{axis}_mm"]) for axis in "xyz"] for end in ENDS]
    )


def put_points(cells: Cells, state: str, found: Array, digits: int = 3) -> None:
    """Write entry and apex of one implant."""
    for end, point in zip(ENDS, found, strict=True):
        for axis, value in zip("xyz", point, strict=True):
            cells[f"{state}_{end}_{axis}_mm"] = repr(round(float(value), digits) + 0.0)


def change(
    cells: Cells, states: tuple[str, ...], how: Callable[[Array], Array]
) -> None:
    """Change the points of one implant in some states."""
    for state in states:
        put_points(cells, state, how(points(cells, state)))


def exchange(one: Cells, other: Cells, names: list[str]) -> None:
    """Exchange some cells of two rows."""
    for name in names:
        one[name], other[name] = other.get(name, ""), one.get(name, "")


def names_of(state: str) -> list[str]:
    """Return the columns of a state's points."""
    return [f"{state}_{end}_{axis}_mm" for end in ENDS for axis in "xyz"]


def pick(rows: list[Cells], draws: Draws) -> Cells:
    """Return one of the rows."""
    return rows[int(draws.integers(len(rows)))]


def later(day: str, days: int) -> str:
    """Return a day some days later, as it is written."""
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


def number(cells: Cells, name: str) -> float:
    """Return a cell as a number."""
    return float(cells[name])

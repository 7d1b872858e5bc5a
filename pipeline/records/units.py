"""Units of length and angle as people write them, and their size in ours.

Ours are millimetres and degrees. The table is ``reference/units.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from pipeline.reference import load


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit.

    Attributes:
        name: as a layout names it.
        family: length or angle.
        factor: its size in millimetres or degrees.
    """

    name: str
    family: str
    factor: Decimal

    @property
    def is_ours(self) -> bool:
        """Whether figures in it need no conversion."""
        return self.factor == 1


@cache
def units() -> dict[str, Unit]:
    """Return the units by name."""
    return {
        row["unit"]: Unit(row["unit"], row["family"], Decimal(row["factor"]))
        for row in load.rows("units")
    }


@cache
def _by_writing() -> dict[str, Unit]:
    return {
        form: units()[row["unit"]]
        for row in load.rows("units")
        for form in row["written"].split("|")
    }


def unit_written(text: str) -> Unit | None:
    """Return the unit a text names, or None.

    >>> unit_written(" Microns ").name
    'µm'
    """
    return _by_writing().get(text.strip().casefold().replace("\u03bc", "µ"))


def in_ours(figure: Decimal, unit: Unit) -> Decimal:
    """Return a figure in millimetres or degrees.

    Powers of ten move the point only, so that no digit is added or lost.

    >>> str(in_ours(Decimal("0.32"), units()["cm"]))
    '3.2'
    """
    _, digits, exponent = unit.factor.normalize().as_tuple()
    if digits == (1,) and isinstance(exponent, int):
        return figure.scaleb(exponent)
    return figure * unit.factor

"""What an unreadable figure or day looks like: what a spreadsheet, or a habit, made of it.

Each look has a name in ``staged.problems``, because each has its own mend: a day where a
number was typed is typed again, a comma is a question to the clinic, a unit goes into a
layout. The patterns are those of RE2.
"""

from __future__ import annotations

import re
from functools import cache

from pipeline.reference import load
from pipeline.reference.load import Field
from pipeline.warehouse import quoted

MONTHS = "jan|feb|m[aä]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz]"
BECAME_DAY = (
    r"\d{4}-\d{1,2}-\d{1,2}([t ].*)?"
    rf"|\d{{1,2}}[-./ ]+({MONTHS})[a-zä]*[-./ ]*(\d{{2}}|\d{{4}})?"
    rf"|({MONTHS})[a-zä]*[-./ ]+\d{{1,4}}"
    r"|\d{1,2}[-./]\d{1,2}[-./](\d{2}|\d{4})"
)
"""A number that a spreadsheet took for a day: 2026-07-08, 8-Jul, Jul-45, 7/8/26."""

OTHER_SIGN = {".": r"[+-]?\d+,\d+", ",": r"[+-]?\d+\.\d+"}
"""By the file's decimal sign: a number written with the other one."""

SERIAL_DAY = r"[34567]\d{4}(\.0*)?"
"""A day as a spreadsheet counts it: 30000 is in 1982, 79999 in 2119."""

FAMILY_OF_UNIT = {"mm": "length", "deg": "angle"}
PERCENT = "%"


def told_apart(field: Field, raw: str) -> str:
    """Return SQL that goes into a case: when the cell looks like .. then that problem.

    Args:
        field: the field.
        raw: SQL for its cell as it was received, which could not be read; the row ``r``
            also has the file's ``decimal_sign``.
    """
    text = f"lower(trim({raw}, ' \"'))"
    if field.kind == "date":
        return _when(text, SERIAL_DAY, "serial_day")
    if field.kind not in {"number", "whole"}:
        return ""
    signs = [
        f"when r.decimal_sign = '{sign}' and regexp_full_match({text}, {quoted(other)})"
        " then 'other_decimal_sign'"
        for sign, other in OTHER_SIGN.items()
    ]
    return " ".join(
        [_when(text, BECAME_DAY, "became_day"), *signs, *_units(field, text)]
    )


def _when(text: str, pattern: str, problem: str) -> str:
    return f"when regexp_full_match({text}, {quoted(pattern)}) then '{problem}'"


def _units(field: Field, text: str) -> list[str]:
    """Return SQL for a number with a unit beside it: of its own kind, or of another."""
    own = FAMILY_OF_UNIT.get(field.unit)
    families = _writings()
    wrong = [PERCENT] if own else []
    for family, words in families.items():
        if own and family != own:
            wrong += words
    right = families[own] if own else [w for words in families.values() for w in words]
    return [
        _when(text, _with_unit(right), "unit_written"),
        *([_when(text, _with_unit(wrong), "other_unit")] if wrong else []),
    ]


def _with_unit(words: list[str]) -> str:
    units = "|".join(re.escape(word).replace("/", "\\/") for word in words)
    return rf"[+-]?\d+([.,]\d+)?\s*({units})"


@cache
def _writings() -> dict[str, list[str]]:
    """Return how the units of each family are written."""
    found: dict[str, list[str]] = {}
    for row in load.rows("units"):
        found.setdefault(row["family"], []).extend(row["written"].split("|"))
    return found

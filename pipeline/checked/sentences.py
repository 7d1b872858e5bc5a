"""The columns of a finding as SQL, made from one row of the check tables.

Sentences are filled in by DuckDB, a million at a time; only places, fields, limits and
the judged value go into them, never what identifies a person.
"""

from __future__ import annotations

import datetime as dt
import string

from pipeline.checked.checks import Check
from pipeline.reference import load
from pipeline.warehouse import quoted

BASE32 = "abcdefghijklmnopqrstuvwxyz234567"
PAIRS = "".join(first + second for first in BASE32 for second in BASE32)
"""All two characters in order; given to the SQL as ``$pairs``."""


def finding_id(parts: str) -> str:
    """Return SQL for the first ten base32 characters of a sha256, in lower case.

    Args:
        parts: SQL for the text that is hashed.

    The alphabet is that of RFC 4648. Ten characters are the first 50 bits, that is 13
    hexadecimal digits less two bits, looked up in ``$pairs`` ten bits, or two
    characters, at a time.
    """
    bits = f"cast('0x' || left(sha256({parts}), 13) as bigint) >> 2"
    pairs = (
        f"substring($pairs, 2 * ((({bits}) >> {shift}) & 1023) + 1, 2)"
        for shift in range(40, -1, -10)
    )
    return f"concat({', '.join(pairs)})"


def failed(check: Check, run_date: dt.date) -> str:
    """Return SQL that is true where the evidence lies outside the limits.

    It is made from the same row as the judge's limits; a null is never outside.
    """
    low, high = check.limits(run_date)
    value = judged(check)
    outside = []
    if low is not None:
        outside.append(f"{value} < cast({low!r} as double)")
    if high is not None:
        outside.append(f"{value} > cast({high!r} as double)")
    return f"({' or '.join(outside)})"


def judged(check: Check) -> str:
    """Return SQL for the evidence as the judge sees it: NaN is no value there."""
    return f"nullif(e.{check.evidence}, cast('nan' as double))"


def sentence(check: Check, run_date: dt.date) -> str:
    """Return SQL that fills in the check's sentence."""
    low, high = check.limits_in_words(run_date)
    known = {"low": low, "high": high, "sheet": check.sheet}
    if not check.problem:
        known["field"] = check.field
    pieces, words = [], ""
    for text, slot, _, _ in string.Formatter().parse(check.sentence):
        words += text
        if slot in known:
            words += known[slot]
        elif slot:
            pieces += [quoted(words), _from_the_row(slot, check)]
            words = ""
    return f"concat({', '.join([*pieces, quoted(words)])})"


def field_meant(check: Check) -> str:
    """Return SQL for the field a finding is about, or null."""
    if check.problem:
        return "p.field"
    return quoted(check.field) if check.field else "cast(null as varchar)"


def _from_the_row(slot: str, check: Check) -> str:
    """Return SQL for a slot that every row fills in its own way."""
    value = judged(check)
    return {
        "row_number": "s.row_number",
        "field": "p.field",
        "value": _shown(value, is_day=check.is_of_days),
        "size": _shown(f"abs({value})", is_day=False),
        "allowed": _allowed_words(check.sheet),
        "meant": "coalesce(cell_meant(p.problem, p.as_written), '?')",
    }[slot]


def _shown(value: str, *, is_day: bool) -> str:
    """Return SQL for a number to two decimals without idle zeros, or for a day."""
    if is_day:
        return f"date '1970-01-01' + cast({value} as integer)"
    rounded = f"if(abs({value}) < 0.01, {value}, round({value}, 2))"
    return f"format('{{:.6g}}', {rounded})"


def _allowed_words(sheet: str) -> str:
    """Return SQL for the words that the field of a cell may be, joined."""
    cases = " ".join(
        f"when {quoted(field.field)} then {quoted(', '.join(field.codes))}"
        for field in load.fields(sheet)
        if field.codes
    )
    return f"case p.field {cases} end" if cases else "cast(null as varchar)"

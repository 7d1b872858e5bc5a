"""The checks, as rows of ``reference/checks/*.csv``, and a linter of those rows.

A row names a column of evidence and its limits. The same row drives the judge
(engine.py), the select of the rows that failed, and the sentence a person reads.
"""

from __future__ import annotations

import datetime as dt
import string
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import get_args

from pipeline.checked.vocabulary import (
    CELL_TABLE,
    CELLS_OF_ROW,
    LEVELS_OF_REACH,
    LOAD_TABLE,
    PROBLEMS,
    ROW_TABLE,
    RUN_DATE,
    SIGNS,
    SLOTS,
    Level,
    Reach,
    Severity,
)
from pipeline.reference import load

EPOCH = dt.date(1970, 1, 1)


class BadCheck(Exception):
    """A row of the check tables cannot be followed (a fault of ours)."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one sheet.

    Attributes:
        check_id: short name, the same in every audit.
        sheet: record sheet it looks at.
        level: grain of the evidence: row, pair, case or set (one file's figures).
        reach: what a failure sets aside: cell (the value counts as missing), row,
            case (all its rows on geometry sheets), or set (nothing).
        evidence_table: table that holds the evidence, one row a thing judged.
        evidence: column judged, DOUBLE; null means not applicable.
        field: field meant, ``@problem`` for every cell ``staged.problems`` or
            ``checked.cell_signs`` lists with that problem, or empty.
        low: lowest value that passes, as written; empty for no limit.
        high: highest value that passes.
        severity: stop, hold or warn.
        sentence: what was found, with slots; never identity text.
        why_limit: why the limits are these.
        suggestion: what a person can do.
        source: where the limits come from.
    """

    check_id: str
    sheet: str
    level: Level
    reach: Reach
    evidence_table: str
    evidence: str
    field: str
    low: str
    high: str
    severity: Severity
    sentence: str
    why_limit: str
    suggestion: str
    source: str

    @property
    def is_of_days(self) -> bool:
        """Whether the limits are days, and the evidence days since 1970-01-01."""
        return any(_is_day(limit) for limit in (self.low, self.high))

    @property
    def sets_aside(self) -> bool:
        """Whether a failure sets something aside from measuring."""
        return self.severity != "warn" and self.reach != "set"

    @property
    def problem(self) -> str:
        """The kind of problem or sign whose cells are meant, or empty."""
        return self.field.removeprefix("@") if self.field.startswith("@") else ""

    @property
    def cells_table(self) -> str:
        """The table that lists the cells meant."""
        return "checked.cell_signs" if self.problem in SIGNS else "staged.problems"

    @property
    def is_of_every_sheet(self) -> bool:
        """Whether the evidence holds rows of all sheets, told apart by ``sheet``."""
        return self.evidence_table in {ROW_TABLE, LOAD_TABLE, CELL_TABLE}

    def limits(self, run_date: dt.date) -> tuple[float | None, float | None]:
        """Return the lowest and highest value that passes; None for no limit."""
        return _limit(self.low, run_date), _limit(self.high, run_date)

    def limits_in_words(self, run_date: dt.date) -> tuple[str, str]:
        """Return both limits as a sentence shows them."""
        given = (self.low, self.high)
        low, high = (run_date.isoformat() if t == RUN_DATE else t for t in given)
        return low, high


def _is_day(limit: str) -> bool:
    return limit == RUN_DATE or limit.count("-") == 2


def _limit(text: str, run_date: dt.date) -> float | None:
    if not text:
        return None
    if text == RUN_DATE:
        return float((run_date - EPOCH).days)
    if _is_day(text):
        return float((dt.date.fromisoformat(text) - EPOCH).days)
    return float(text)


def _one_of(value: str, allowed: Collection[str], check_id: str) -> str:
    if value not in allowed:
        raise BadCheck(f"{check_id}: {value!r} is none of {', '.join(allowed)}")
    return value


def _check(row: Mapping[str, str]) -> Check:
    values = dict(row)
    for name, allowed in (("level", Level), ("reach", Reach), ("severity", Severity)):
        _one_of(values[name], get_args(allowed), values["check_id"])
    return Check(**values)  # type: ignore[arg-type]  # literals were looked at above


def _for_each_sheet(check: Check) -> Iterable[Check]:
    """Yield the check once a sheet it names: one, several joined by |, or all.

    A check of several sheets is written ``row-...``; each sheet's own name takes the
    place of ``row``, so that every check_id is one check.
    """
    names = load.sheets() if check.sheet == "all" else check.sheet.split("|")
    if len(names) == 1:
        yield check
        return
    for sheet in names:
        own = f"{sheet.replace('_', '-')}-{check.check_id.removeprefix('row-')}"
        yield replace(check, check_id=own, sheet=sheet)


@cache
def all_checks() -> tuple[Check, ...]:
    """Return every check, once a sheet it looks at, in the order of the tables."""
    files = sorted(path.stem for path in (load.FOLDER / "checks").glob("*.csv"))
    return tuple(
        check
        for name in files
        for row in load.rows(f"checks/{name}")
        for check in _for_each_sheet(_check(row))
    )


@cache
def by_id() -> Mapping[str, Check]:
    """Return every check by its check_id, as results, findings and held name it."""
    return {check.check_id: check for check in all_checks()}


def slots_of(sentence: str) -> set[str]:
    """Return the names of the slots in a sentence."""
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


def faults(
    checks: Iterable[Check], columns_of: Mapping[str, Collection[str]]
) -> list[str]:
    """Return what is wrong with the rows, one line each; empty when all is well.

    Args:
        checks: the checks to look at.
        columns_of: columns of every table, by ``schema.table``.
    """
    found: list[str] = []
    seen: set[str] = set()
    for check in checks:
        name = check.check_id
        if name in seen:
            found.append(f"{name}: the same check twice")
        seen.add(name)
        found += [f"{name}: {fault}" for fault in _faults_of(check, columns_of)]
    return found


def _faults_of(
    check: Check, columns_of: Mapping[str, Collection[str]]
) -> Iterable[str]:
    if check.sheet not in load.sheets():
        yield f"there is no sheet {check.sheet}"
        return
    if check.evidence not in columns_of.get(check.evidence_table, ()):
        yield f"{check.evidence_table} has no column {check.evidence}"
    yield from _faults_of_limits(check)
    yield from _faults_of_field(check)
    if check.level not in LEVELS_OF_REACH[check.reach]:
        yield f"a check of level {check.level} cannot reach a {check.reach}"
    allowed = SLOTS if check.level == "row" else SLOTS - CELLS_OF_ROW
    for slot in sorted(slots_of(check.sentence) - allowed):
        yield f"the sentence has a slot {slot} that nothing fills"
    for name in ("sentence", "why_limit", "suggestion", "source"):
        if not getattr(check, name).strip():
            yield f"{name} is empty"


def _faults_of_limits(check: Check) -> Iterable[str]:
    try:
        low, high = check.limits(EPOCH + dt.timedelta(days=20_000))
    except ValueError:
        yield "a limit is neither a number nor a day"
        return
    if low is None and high is None:
        yield "it has no limit"
    if low is not None and high is not None and low > high:
        yield "its limits are exchanged"
    words = slots_of(check.sentence)
    if ("low" in words and low is None) or ("high" in words and high is None):
        yield "the sentence speaks of a limit that is not there"


def _faults_of_field(check: Check) -> Iterable[str]:
    names = {field.field for field in load.fields(check.sheet)}
    if check.problem:
        if check.problem not in PROBLEMS | SIGNS:
            yield f"{check.problem} is no problem of staged.problems"
        if check.evidence_table not in {ROW_TABLE, CELL_TABLE}:
            yield "problems of cells are counted in the evidence of all sheets"
    elif check.field and check.field not in names:
        yield f"the sheet {check.sheet} has no field {check.field}"
    if check.reach == "cell" and not check.field:
        yield "it sets a cell aside but names no field"

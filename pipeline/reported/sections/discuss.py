"""Cases for discussion: what stands out, against which limit, never whose fault."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.reported.audit_tables import AuditTables, Row
from pipeline.reported.room import lines_of
from pipeline.reported.section import Section
from pipeline.reported.sections.criteria import room_of
from pipeline.reported.wording import limit, measures, number

MOST_ON_PURPOSE = 3
PURPOSE_HEAD = 3
"""Lines that the heading of the changes on purpose takes."""


def content(audit: AuditTables) -> Section:
    """Return the cases that fit the first side, deliberate changes apart."""
    cases = by_case(audit, is_on_purpose=False)
    on_purpose = by_case(audit, is_on_purpose=True)
    room = room_of(audit).discuss
    shown_on_purpose = _that_fit(on_purpose[:MOST_ON_PURPOSE], max(1, room // 3))
    if shown_on_purpose:
        room -= PURPOSE_HEAD + sum(case["lines"] for case in shown_on_purpose)
    shown = _that_fit(cases, room)
    return Section(
        {
            "is_measured": bool(audit.implants or audit.pairs),
            "cases": shown,
            "n_more": len(cases) - len(shown),
            "on_purpose": shown_on_purpose,
            "n_more_on_purpose": len(on_purpose) - len(shown_on_purpose),
        }
    )


def _that_fit(cases: list[Row], room: int) -> list[Row]:
    """Return as many cases as the lines allow, at least one."""
    kept: list[Row] = []
    for case in cases:
        if kept and sum(row["lines"] for row in kept) + case["lines"] > room:
            break
        kept.append(case)
    return kept


def by_case(audit: AuditTables, *, is_on_purpose: bool) -> list[Row]:
    """Return one line a case with all that stands out, the furthest beyond its limit first."""
    rows = [
        row
        for row in audit.discuss
        if bool(row["is_deliberate_change"]) == is_on_purpose
        and row["case_key"] in audit.case_of
    ]
    rows.sort(key=_excess, reverse=True)
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["case_key"], []).append(row)
    return [_line(audit, case, about) for case, about in found.items()]


def _excess(row: Row) -> float:
    """How far beyond: the figure over its limit; what passed no limit comes last."""
    beyond = row["limit_value"]
    return abs(row["value"]) / beyond if beyond else 0.0


def _line(audit: AuditTables, case: str, rows: Iterable[Row]) -> Row:
    points = [_point(audit, row) for row in rows]
    letters = sum(len("".join(point.values())) + 6 for point in points)
    return {
        "case": case,
        "day": audit.words.day(audit.case_of[case]["surgery_date"]),
        "points": points,
        "lines": lines_of(letters),
    }


def _point(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    known = measures().get(row["measure"])
    label = known.short_label if known else words.code("measure", row["measure"])
    side = words.code("side", row["side"]) if row["side"] else ""
    return {
        "what": words("discuss.of_side", label=label, side=side) if side else label,
        "value": _value(audit, row),
        "limit": _limit(audit, row),
    }


def _value(audit: AuditTables, row: Row) -> str:
    """Return the figure, with more decimals where it would else look like its limit."""
    known = measures().get(row["measure"])
    digits, beyond, amount = (
        known.digits if known else 1,
        row["limit_value"],
        row["value"],
    )
    while beyond is not None and digits < 3 and round(abs(amount), digits) <= beyond:
        digits += 1
    is_signed = known is not None and known.is_signed
    unit = audit.words.unit(known.unit) if known else ""
    return number(amount, digits, is_signed=is_signed) + unit


def _limit(audit: AuditTables, row: Row) -> str:
    words, beyond = audit.words, row["limit_value"]
    if beyond is None:
        return words("discuss.no_limit")
    known = measures().get(row["measure"])
    unit = words.unit(known.unit) if known else ""
    return words(
        "discuss.limit", limit=limit(beyond, known.digits if known else 1) + unit
    )

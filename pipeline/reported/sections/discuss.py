"""Cases for discussion: what stands out, against which limit, never whose fault."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.room import DISCUSS_LETTERS, lines_of, that_fit
from pipeline.reported.section import Section
from pipeline.reported.sections.causes import in_short
from pipeline.reported.sections.criteria import room_of
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import limit, measures, number

MOST_ON_PURPOSE = 3
MOST_POINTS = 2
"""Figures named for one case on the first side."""
PURPOSE_HEAD = 3
"""Lines that the heading of the changes on purpose takes."""


def content(audit: AuditTables) -> Section:
    """Return the cases that fit the first side, deliberate changes apart."""
    cases = by_case(audit, is_on_purpose=False, most_points=MOST_POINTS)
    on_purpose = by_case(audit, is_on_purpose=True, most_points=MOST_POINTS)
    room = audit.once(room_of).discuss
    shown_on_purpose: list[Row] = []
    if room >= 3 * PURPOSE_HEAD:
        shown_on_purpose = _that_fit(on_purpose[:MOST_ON_PURPOSE], room // 3)
    if shown_on_purpose:
        room -= PURPOSE_HEAD + sum(case["lines"] for case in shown_on_purpose)
    elif on_purpose:
        room -= 1
    shown = _that_fit(cases, room)
    return Section(
        {
            "is_measured": audit.counts["implants"] + audit.counts["pairs"] > 0,
            "cases": shown,
            "n_more": audit.discuss_counts.get(False, 0) - len(shown),
            "on_purpose": shown_on_purpose,
            "n_more_on_purpose": audit.discuss_counts.get(True, 0)
            - len(shown_on_purpose),
            "n_on_purpose": audit.words.count(
                "case", audit.discuss_counts.get(True, 0)
            ),
        }
    )


def _that_fit(cases: list[Row], room: int) -> list[Row]:
    return that_fit([(case, case["lines"]) for case in cases], room)


def by_case(
    audit: AuditTables, *, is_on_purpose: bool, most_points: int | None = None
) -> list[Row]:
    """Return one line a case with what stands out, the furthest beyond its limit first.

    Args:
        audit: the audit.
        is_on_purpose: departures on purpose, or all others.
        most_points: figures named for one case; all when None.
    """
    rows = [
        row
        for row in audit.discuss
        if bool(row["is_deliberate_change"]) == is_on_purpose
    ]
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["case_key"], []).append(row)
    return [
        _line(
            audit,
            case,
            about[:most_points],
            len(about[most_points:]) if most_points else 0,
        )
        for case, about in found.items()
    ]


def _line(audit: AuditTables, case: str, rows: Sequence[Row], n_more: int) -> Row:
    words = audit.words
    points = [_point(audit, row) for row in rows]
    more = words("discuss.more_points", n=n_more) if n_more else ""
    text = "; ".join([*(" ".join(point.values()) for point in points), more])
    cause = "" if rows[0]["is_deliberate_change"] else in_short(audit, case)
    return {
        "case": case,
        "day": words.day(rows[0]["surgery_date"]),
        "points": points,
        "more": more,
        "cause": cause,
        "lines": lines_of(text, DISCUSS_LETTERS)
        + (lines_of(cause, DISCUSS_LETTERS) if cause else 0),
    }


def _point(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    known = measures().get(row["measure"])
    label = known.short_label if known else row["measure"]
    if words.has(f"discuss.name.{row['measure']}"):
        label = words.code("discuss.name", row["measure"])
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

"""Case by case: what was measured, as a table."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number

MOST = 500
"""Cases in the table; a longer audit is read with the show command."""


def content(audit: AuditTables) -> Section | None:
    """Return the latest cases in date order; nothing without cases."""
    if not audit.cases:
        return None
    shown = audit.cases[-MOST:]
    return Section(
        {"cases": lines(audit, shown), "n_left_out": audit.counts["cases"] - len(shown)}
    )


def lines(audit: AuditTables, cases: Sequence[Row]) -> list[Row]:
    """Return one line a case, in words."""
    implants = {(row["case_key"], row["side"]): row for row in audit.implants}
    pairs = {row["case_key"]: row for row in audit.pairs}
    return [_line(audit, case, implants, pairs) for case in cases]


def _line(
    audit: AuditTables,
    case: Row,
    implants: dict[tuple[str, str], Row],
    pairs: dict[str, Row],
) -> Row:
    words, key = audit.words, case["case_key"]
    sides = [implants.get((key, side), {}) for side in ("left", "right")]
    pair = pairs.get(key, {})
    sources = {
        words.sources(f"{row['basis']} {row['achieved_source']}")
        for row in (*sides, pair)
        if row
    }

    def both(measure: str) -> list[str]:
        return [_plain(measure, side) for side in sides]

    return {
        "case": key,
        "day": words.day(case["surgery_date"]),
        "status": words.code("status", case["status"]),
        "entry": both("entry_3d_mm"),
        "depth": both("depth_mm"),
        "angle": both("angle_deg"),
        "planned": _plain("planned_angle_deg", pair),
        "achieved": _plain("achieved_angle_deg", pair),
        "sources": ", ".join(sorted(sources)),
        "on_purpose": any(side.get("is_deliberate_change") for side in sides),
    }


def _plain(name: str, row: Row) -> str:
    """Return a figure without its unit, which stands in the heading."""
    known = measures().get(name, measures()["achieved_angle_deg"])
    return number(row.get(name), known.digits, is_signed=known.is_signed)

"""Rows as charts read them: short names, words for codes, figures rounded.

Charts of one page share these tables, so that a case picked in one lights in all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures

ON_PURPOSE = "purpose"
"""Sign of an implant that departed from the plan on purpose."""

DECIMALS = 3
HEADROOM = 1.03


def implants(audit: AuditTables) -> list[Row]:
    """Return one row an implant: case, side, sign, source and every figure."""
    return [_implant(audit, row) for row in audit.implants]


def pairs(audit: AuditTables) -> list[Row]:
    """Return one row a pair: case, sign, source, both angles and every figure."""
    on_purpose = {
        row["case_key"] for row in audit.implants if row["is_deliberate_change"]
    }
    return [_pair(audit, row, on_purpose) for row in audit.pairs]


def _implant(audit: AuditTables, row: Row) -> Row:
    sign = ON_PURPOSE if row["is_deliberate_change"] else row["side"]
    return {
        **_common(audit, row, sign),
        "side": audit.words.code("side", row["side"]),
        **_figures(row, "implants"),
    }


def _pair(audit: AuditTables, row: Row, on_purpose: set[str]) -> Row:
    sign = ON_PURPOSE if row["case_key"] in on_purpose else "pair"
    return {
        **_common(audit, row, sign),
        "planned_angle_deg": _rounded(row["planned_angle_deg"]),
        **_figures(row, "pairs"),
    }


def _common(audit: AuditTables, row: Row, sign: str) -> Row:
    case = audit.case_of[row["case_key"]]
    return {
        "case": row["case_key"],
        "day": audit.words.day(case["surgery_date"]),
        "sign": sign,
        "source": audit.words.sources(f"{row['basis']} {row['achieved_source']}"),
    }


def _figures(row: Row, place: str) -> Row:
    return {
        name: _rounded(row[name])
        for name, known in measures().items()
        if known.place == place
    }


def _rounded(amount: float | None) -> float | None:
    return None if amount is None else round(float(amount), DECIMALS)


def main_source(rows: Sequence[Row]) -> tuple[str, list[Row]]:
    """Return the commonest source and its rows.

    Figures of different sources share no median, so a sentence speaks of one source;
    its name is empty where there is no other.
    """
    counts = Counter(row["source"] for row in rows)
    if len(counts) <= 1:
        return "", list(rows)
    source = min(counts, key=lambda name: (-counts[name], name))
    return source, [row for row in rows if row["source"] == source]


def held(rows: Sequence[Row], *names: str) -> list[Row]:
    """Return the rows that hold all of the named figures."""
    return [row for row in rows if all(row[name] is not None for name in names)]


def nice_limit(amounts: Sequence[float], step: float) -> float:
    """Return the next multiple of a step that leaves room above the largest amount."""
    largest = max((abs(amount) for amount in amounts), default=step)
    return max(step, -(-HEADROOM * largest // step) * step)

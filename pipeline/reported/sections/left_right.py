"""Left against right: the same patients' two sides, measure by measure."""

from __future__ import annotations

from typing import Any

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL


def content(audit: AuditTables) -> Section | None:
    """Return what stands out and a line a measure; nothing where no case has both sides."""
    order = list(measures())
    rows = sorted(audit.left_right, key=lambda row: order.index(row["measure"]))
    if not rows:
        return None
    return Section(
        {
            "first": _sentence(audit, rows),
            "lines": [_line(audit, row) for row in rows],
        }
    )


def _sentence(audit: AuditTables, rows: list[Row]) -> str:
    """Name the measures whose interval leaves 0 out, else say that none does."""
    words = audit.words
    told = [row for row in rows if row["low"] is not None]
    if not told:
        return words("left_right.too_few_all")
    apart = [
        measures()[row["measure"]].label
        for row in told
        if not row["low"] <= 0 <= row["high"]
    ]
    if not apart:
        return words("left_right.alike", n=len(told))
    return words("left_right.apart", labels=", ".join(apart), n=len(told))


def _line(audit: AuditTables, row: Row) -> dict[str, Any]:
    words, known = audit.words, measures()[row["measure"]]
    unit = words.unit(known.unit)

    def signed(name: str) -> str:
        return number(row[name], known.digits, is_signed=True)

    if row["low"] is not None:
        interval = words("number.interval", low=signed("low"), high=signed("high"))
    elif row["n_patients"] < FEWEST_FOR_INTERVAL:
        interval = words("left_right.too_few")
    else:
        interval = words("number.no_spread")
    return {
        "measure": known.label,
        "sources": words.sources(row["sources"]),
        "n": words(
            "left_right.counted",
            pairs=words.count("pair", row["n_pairs"]),
            patients=words.count("patient", row["n_patients"]),
        ),
        "left": words.value(row["measure"], row["mean_left"]),
        "right": words.value(row["measure"], row["mean_right"]),
        "difference": signed("difference") + unit,
        "interval": interval,
    }

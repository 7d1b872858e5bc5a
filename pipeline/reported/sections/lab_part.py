"""The guide as made against its plan: over all guides read, and each guide by its code."""

from __future__ import annotations

from typing import Any, Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL, FEWEST_WITHOUT_CAUTION

MOST_GUIDES: Final = 12
"""Guides that fit the page beside the rest, the latest ones."""

QUANTITIES: Final = (
    "frontal_convergence_deg",
    "sagittal_difference_deg",
    "spacing_mm",
    "midline_mm",
    "crest_offset_mm",
)
"""In the order of the page."""


def content(audit: AuditTables) -> Section:
    """Return the table of quantities and the guides worth a look one by one."""
    words = audit.words
    rows = {row["quantity"]: row for row in audit.lab_return}
    known = [name for name in QUANTITIES if name in rows]
    by_rule = sum(row["n_by_rule"] for row in rows.values())
    guides = _worth_a_look(audit)
    left = len(guides) - MOST_GUIDES
    return Section(
        {
            "lines": [_line(audit, rows[name]) for name in known],
            "by_rule": words("lab_return.by_rule") if by_rule else "",
            "quantities": [words(f"lab_return.short.{name}") for name in known],
            "guides": [_guide(audit, row, known) for row in guides[:MOST_GUIDES]],
            "more_guides": words("lab_return.more_guides", n=left) if left > 0 else "",
        }
    )


def _unit(quantity: str) -> str:
    return "deg" if quantity.endswith("_deg") else "mm"


def _line(audit: AuditTables, row: Row) -> dict[str, Any]:
    """Return one quantity; a mean and its spread only of enough guides."""
    words, unit = audit.words, audit.words.unit(_unit(row["quantity"]))
    name = words(f"lab_return.quantity.{row['quantity']}")
    line = {
        "name": name,
        "sources": words("lab_return.read_by", sources=words.sources(row["sources"])),
        "largest": number(row["largest"], 1) + unit,
        "n": words.count("guide", row["n_guides"]),
    }
    if row["n_guides"] < FEWEST_FOR_INTERVAL:
        too_few = words("lab_return.too_few")
        return line | {"mean": too_few, "interval": "", "sd": NOT_HELD}
    if row["low"] is None:
        interval = words("number.no_spread")
    else:
        low, high = (number(row[end], 1, is_signed=True) for end in ("low", "high"))
        interval = words("number.interval", low=low, high=high)
        if row["n_guides"] < FEWEST_WITHOUT_CAUTION:
            interval = words("lab_return.few", interval=interval)
    return line | {
        "mean": number(row["mean"], 1, is_signed=True) + unit,
        "interval": interval,
        "sd": number(row["sd"], 1) + unit,
    }


def _worth_a_look(audit: AuditTables) -> list[Row]:
    """Return guides that were read, did not fit, or were remade; the latest first."""
    read = {row["guide_code"] for row in audit.lab_parts}
    return [
        row
        for row in audit.lab_guides
        if row["guide_code"] is not None
        and (
            row["guide_code"] in read
            or row["fit"] in ("rocks", "gap")
            or row["is_remade"]
        )
    ]


def _guide(audit: AuditTables, row: Row, quantities: list[str]) -> dict[str, Any]:
    words = audit.words
    off = [
        [
            number(part["lab_part"], 1, is_signed=True)
            for part in audit.lab_parts
            if part["guide_code"] == row["guide_code"] and part["quantity"] == quantity
        ]
        for quantity in quantities
    ]
    made = row["made_date"]
    return {
        "code": row["guide_code"],
        "made": NOT_HELD if made is None else words.day(made),
        "lot": row["material_lot"] or NOT_HELD,
        "fit": words(f"lab_return.fit_word.{row['fit']}")
        + (words("lab_return.then_remade") if row["is_remade"] else ""),
        "off": [" / ".join(values) or NOT_HELD for values in off],
    }

"""What is said of attachment trouble and how the implants lean: ratios, cuts, print."""

from __future__ import annotations

from typing import Any

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number, whole

SIDES = ("more", "others")


def angle_block(audit: AuditTables) -> dict[str, Any] | None:
    """Return the lines of the block; nothing where no angle meets any follow-up."""
    ratios = [row for row in audit.association if row["count_dentures"]]
    if not ratios:
        return None
    words = audit.words
    return {
        "text": words("years_after.angles.text", step=number(ratios[0]["step_deg"], 0)),
        "ratios": [_ratio(audit, row) for row in ratios],
        "cuts": _cuts(audit),
        "printed": [_printed(audit, row) for row in _rows_in_print()],
    }


def _rows_in_print() -> tuple[dict[str, str], ...]:
    return load.rows("attachment_angles_published")


def _ratio(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    alike = [
        words.code("years_after.angles.held", name)
        for name in (row["held_alike"] or "").split("|")
        if name
    ]
    return {
        "measure": words.code("years_after.angles.measure", row["measure"]),
        "source": words.sources(row["source"]),
        "alike": ", ".join(alike) or words("years_after.angles.alone"),
        "dentures": whole(row["count_dentures"]),
        "patients": whole(row["n_patients"]),
        "events": whole(row["count_events"]),
        "years": number(row["exposure_years"], 1),
        "ratio": number(row["rate_ratio"], 2),
        "limits": _limits(audit, row["ratio_low"], row["ratio_high"], 2),
        "note": row["note"] or "",
    }


def _limits(
    audit: AuditTables, low: float | None, high: float | None, digits: int
) -> str:
    if low is None or high is None:
        return NOT_HELD
    return audit.words(
        "number.interval", low=number(low, digits), high=number(high, digits)
    )


def _cuts(audit: AuditTables) -> list[Row]:
    """Return a line a side of each cut that splits the dentures at all."""
    found = {(row["key"], row["side"]): row for row in audit.rates_by_cut}
    lines = []
    for printed in _rows_in_print():
        sides = [found.get((printed["key"], side)) for side in SIDES]
        if not all(row and row["count_dentures"] for row in sides):
            continue
        lines += [_cut(audit, printed, row) for row in sides if row]
    return lines


def _cut(audit: AuditTables, printed: dict[str, str], row: Row) -> Row:
    words = audit.words
    cut = number(float(printed["cut_deg"]), 1, is_signed=True)
    kind = f"{printed['side']}.{row['side']}"
    return {
        "what": words(f"years_after.angles.cut.{kind}", cut=cut),
        "citation": printed["citation"],
        "events": whole(row["count_events"]),
        "dentures": whole(row["count_dentures"]),
        "years": number(row["exposure_years"], 1),
        "rate": number(row["rate_per_100"], 0),
        "limits": _limits(audit, row["rate_low"], row["rate_high"], 0),
    }


def _printed(audit: AuditTables, row: dict[str, str]) -> str:
    return audit.words(
        "years_after.angles.printed",
        kind=audit.words.code("years_after.kind_of", row["attachment"]),
        finding=row["finding"],
        citation=row["citation"],
        patients=audit.words.count("patient", int(row["n_patients"])),
        note=row["note"],
    )

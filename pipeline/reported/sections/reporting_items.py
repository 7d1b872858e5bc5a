"""What a report of such a study must state, and whether it is on record."""

from __future__ import annotations

from typing import Final

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections.characteristics import MISSING
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import whole

ITEMS: Final = ("item", "state", "where")


def content(audit: AuditTables) -> Section:
    """Return the items with their state."""
    table = _items(audit)
    return Section({"table": table}, printed=(table,))


def _items(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "reporting_items",
        words("methods.checklist"),
        columns_of(words, "methods.column", ITEMS),
        tuple(
            (row["wording"], _state(audit, row["filled_by"]), row["where"])
            for row in load.rows("reporting_items")
        ),
        ("reference.reporting_items",),
        (words("methods.checklist_note"),),
        is_extra=True,
    )


def _state(audit: AuditTables, filled_by: str) -> str:
    """Return whether an item is stated: always, by a field's share, by a table's rows."""
    words = audit.words
    how, _, name = filled_by.partition(":")
    if how == "always":
        return words("methods.state.yes")
    if how == "rows" and getattr(audit, name):
        return words("methods.state.yes")
    if how in {"case", "implant"}:
        n, total = _given(audit, how, name)
        if n:
            return words("methods.state.given", n_of=f"{whole(n)}/{whole(total)}")
    return words("methods.state.no")


def _given(audit: AuditTables, how: str, name: str) -> tuple[int, int]:
    """Return in how many of the measured cases or implants a characteristic is given."""
    rows: list[Row] = [
        row
        for row in (
            audit.case_characteristics
            if how == "case"
            else audit.implant_characteristics
        )
        if row["characteristic"] == name and row.get("is_measured", True)
    ]
    counts = [(row[f"count_{how}s"], row["value"] != MISSING) for row in rows]
    return sum(n for n, is_given in counts if is_given), sum(n for n, _ in counts)

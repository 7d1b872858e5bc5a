"""All measures in figures, over all cases and by group."""

from __future__ import annotations

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number, whole


def content(audit: AuditTables) -> Section:
    """Return one table for each grouping."""
    order = list(measures())
    tables = []
    for grouping in load.rows("groupings"):
        rows = [
            row for row in audit.accuracy if row["group_by"] == grouping["group_by"]
        ]
        rows.sort(
            key=lambda row: (
                order.index(row["measure"]),
                str(row["group_value"]),
                row["sources"],
            )
        )
        if rows:
            tables.append(
                {
                    "label": grouping["label"],
                    "is_overall": grouping["group_by"] == "overall",
                    "lines": [line(audit, row) for row in rows],
                    "only_source": _only_source(audit, rows),
                    "notes": list(
                        dict.fromkeys(row["note"] for row in rows if row["note"])
                    ),
                }
            )
    return Section({"grouped": tables})


def _only_source(audit: AuditTables, rows: list[Row]) -> str:
    """Return how all lines over all cases were measured, if there is one way only."""
    sources = {audit.words.sources(row["sources"]) for row in rows}
    is_overall = all(row["group_by"] == "overall" for row in rows)
    return sources.pop() if is_overall and len(sources) == 1 else ""


def _group(audit: AuditTables, row: Row) -> str:
    if row["group_by"] == "achieved_source":
        return audit.words.sources(row["group_value"])
    return audit.words.code("group_value", row["group_value"])


def line(audit: AuditTables, row: Row) -> Row:
    """Return one line of a table in words."""
    words = audit.words
    known = measures()[row["measure"]]

    def plain(amount: float | None) -> str:
        return number(amount, known.digits, is_signed=known.is_signed)

    interval = ""
    if row["mean_low"] is not None:
        ends = words(
            "number.interval", low=plain(row["mean_low"]), high=plain(row["mean_high"])
        )
        interval = f" ({ends})"
    return {
        "measure": known.label,
        "unit": words(f"axis_unit.{known.unit}"),
        "group": _group(audit, row),
        "sources": words.sources(row["sources"]),
        "n": f"{whole(row['n_patients'])} / {whole(row['n_implants'])}",
        "mean": plain(row["mean"]) + interval,
        "sd": number(row["sd"], known.digits),
        "median": plain(row["median"]),
        "p90": plain(row["p90"]),
        "p95": plain(row["p95"]),
        "max": plain(row["max"]),
        "icc": number(row["icc"], 2),
        "design_effect": number(row["design_effect"], 2),
        "bound": plain(row["tolerance_bound"])
        if not row["tolerance_n_more"]
        else words("measures.bound_needs", n=row["tolerance_n_more"]),
    }

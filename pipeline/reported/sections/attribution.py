"""Can the operator, the maker, the supervisor, the laboratory and the guide be told apart."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, percent


def content(audit: AuditTables) -> Section | None:
    """Return a table a measure; None where no case names two of them."""
    if not audit.attribution:
        return None
    by_measure = groupby(audit.attribution, key=lambda row: row["measure"])
    tables = [
        {
            "label": measures()[name].label,
            "lines": [_line(audit, row) for row in rows],
        }
        for name, rows in by_measure
    ]
    return Section({"tables": tables})


def _line(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    one, other = (
        words(f"attribution.factor.{row[key]}") for key in ("factor", "other_factor")
    )
    return {
        "pair": words("attribution.pair", one=one, other=other),
        "cases": row["n_cases"],
        "levels": words(
            "attribution.levels", one=row["n_levels"], other=row["n_other_levels"]
        ),
        "said": words(
            f"attribution.answer.{row['answer']}", one=one, other=other, **_shares(row)
        ),
    }


def _shares(row: Row) -> dict[str, str]:
    """Return the shares in words; empty where the two are not told apart."""
    if row["share_low"] is None:
        return {}
    return {
        f"{name}_{end}": percent(row[f"{name}_{end}"])
        for name in ("share", "other_share")
        for end in ("low", "high", "by_chance")
    }

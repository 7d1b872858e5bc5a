"""Published figures beside ours: forests, and what was compared."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections import published
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, measures

COMPARED: Final = (
    "comparison",
    "source",
    "definition",
    "statistic",
    "value",
    ("interval", "low", "high"),
    "unlike",
)


def content(audit: AuditTables) -> Section:
    """Return the forests of the clinic review, with the figures as tables."""
    drawn = audit.once(published.content)
    if drawn is None:
        return Section({"tables": (), "figures": (), "said": ()})
    table = _compared(audit)
    tables = (table,) if table.lines else ()
    said = [
        f"{one['title']}. {one['caution']} {one['pooled']}".strip()
        for one in drawn.context["comparisons"]
    ]
    return Section(
        {"tables": tables, "figures": drawn.figures, "said": said},
        drawn.figures,
        drawn.tables,
        printed=tables,
    )


def _compared(audit: AuditTables) -> Printed:
    words = audit.words
    by_key = {row["key"]: row for row in audit.published}
    lines = tuple(
        (
            comparison_of(audit, match),
            match["citation"],
            definition_of(audit, match["published_measure"]),
            match["statistic"].replace("_", " "),
            f"{match['value']:.2f}",
            (
                by_key[match["key"]]["ci_low"] or NOT_HELD,
                by_key[match["key"]]["ci_high"] or NOT_HELD,
            ),
            match["reason"],
        )
        for match in audit.published_matches
        if match["is_in_band"]
    )
    return Printed(
        "literature",
        words("literature.compared"),
        columns_of(words, "literature.column", COMPARED),
        lines,
        ("summarised.published_matches", "reference.published_accuracy"),
        (words("literature.note"),),
    )


def definition_of(audit: AuditTables, published_measure: str) -> str:
    """Return what a published figure measures, in words."""
    known = measures().get(published_measure)
    if known is not None:
        return known.label
    return audit.words.code("literature.defined", published_measure)


def comparison_of(audit: AuditTables, match: Row) -> str:
    """Return the name of the set of figures a published one was held against."""
    labels = {row["comparison_set"]: row["label"] for row in audit.comparison_sets}
    name: str = match["comparison_set"]
    return labels.get(name, name)

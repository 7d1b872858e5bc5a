"""The guide as made apart from what came after it: lanes of the budget's picture, and words."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, percent
from pipeline.statistics.budget import FEWEST_PAIRS

Stack = list[tuple[str, float]]


def stacks(audit: AuditTables) -> list[tuple[str, Stack]]:
    """Return label and parts of each lane; one lane that says so where none is known."""
    known = [row for row in audit.guide_slices if row["lab_share"] is not None]
    if not known:
        return [(audit.words("budget.slice.none"), [("not_known", 1.0)])]
    return [
        (
            audit.words(f"budget.slice.{row['quantity']}"),
            [("lab", row["lab_share"]), ("clinical", 1 - row["lab_share"])],
        )
        for row in known
    ]


def sentences(audit: AuditTables) -> list[str]:
    """Say for each number what the guide as made added, or why that is not known."""
    if not audit.guide_slices:
        return [audit.words("budget.guide.not_known")]
    return [_sentence(audit, row) for row in audit.guide_slices]


def _sentence(audit: AuditTables, row: Row) -> str:
    words = audit.words
    what = words(f"budget.slice.{row['quantity']}")
    patients = words.count("patient", row["n_patients"])
    if row["lab_share"] is None:
        return words(
            "budget.guide.few", what=what, patients=patients, fewest=FEWEST_PAIRS
        )
    return words(
        "budget.guide.seen",
        what=what,
        share=percent(row["lab_share"]),
        lab=_with_ends(audit, row, "lab"),
        clinical=_with_ends(audit, row, "clinical"),
        patients=patients,
        note=row["note"],
    )


def _with_ends(audit: AuditTables, row: Row, part: str) -> str:
    sd, low, high = (number(row[f"{part}_{end}"], 2) for end in ("sd", "low", "high"))
    ends = audit.words("number.interval", low=low, high=high)
    return f"{sd}{audit.words.unit(row['unit'])} ({ends})"

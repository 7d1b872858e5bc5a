"""The primary measures against published figures, in one sentence each."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.matching import set_words
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures

STAND_IN = "achieved_angle_deg"
"""The measure for which only studies of bridges between teeth were found."""

MOST_ON_PAPER = 3
"""Verdicts on the second side; the others are under more."""


def content(audit: AuditTables) -> Section:
    """Return the verdicts of the second side, and the rest."""
    shown = _most_telling(audit.verdicts)
    rest = [row for row in audit.verdicts if row not in shown]
    return Section(
        {
            "verdicts": [verdict(audit, row) for row in shown],
            "rest": [verdict(audit, row) for row in rest],
        }
    )


def _most_telling(rows: list[Row]) -> list[Row]:
    """Return the largest comparison of each measure, then the largest of the others.

    Args:
        rows: verdicts, those with most patients first.
    """
    order = list(measures())
    largest: dict[str, Row] = {}
    for row in rows:
        largest.setdefault(row["measure"], row)
    others = [row for row in rows if row not in largest.values()]
    shown = [*largest.values(), *others][:MOST_ON_PAPER]
    return sorted(
        shown, key=lambda row: (order.index(row["measure"]), -row["n_patients"])
    )


def verdict(audit: AuditTables, row: Row) -> Row:
    """Return one verdict in words, with patients beside implants."""
    words = audit.words
    known = measures()[row["measure"]]
    label, caution = set_words(audit, row["comparison_set"])
    noun = "implant" if known.place == "implants" else "pair"
    code = str(row["verdict"]).replace(" ", "_")
    has_interval = row["mean_low"] is not None
    numbers = words(
        "verdict.numbers" if has_interval else "verdict.numbers_no_interval",
        mean=words.value(known.name, row["mean"]),
        interval=words.interval(known.name, row["mean_low"], row["mean_high"]),
        n=words.count(noun, row["n_implants"]),
        patients=words.count("patient", row["n_patients"]),
    )
    return {
        "measure": known.label,
        "code": code,
        "word": words.code("verdict.word", code),
        "sign": words.code("verdict.sign", code),
        "set": label,
        "numbers": numbers,
        "published": words(
            "verdict.published",
            band=words.interval(known.name, row["band_low"], row["band_high"]),
            floor=words.size(known.name, row["floor"]),
        ),
        "sentence": row["sentence"],
        "is_provisional": bool(row["is_provisional"]),
        "is_better": code == "better",
        "is_stand_in": row["measure"] == STAND_IN,
        "caution": caution,
        "sources": words.sources(row["sources"]),
    }

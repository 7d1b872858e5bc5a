"""What is not shown yet, in one line, instead of empty charts."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section, Wait
from pipeline.reported.wording import Words
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL, FEWEST_WITHOUT_CAUTION
from pipeline.statistics.quantiles import fewest_values
from pipeline.statistics.tolerance import fewest_patients


def content(audit: AuditTables) -> Section:
    """Return the summaries that wait; charts add theirs when the page is put together."""
    overall = [row for row in audit.accuracy if row["group_by"] == "overall"]
    n_patients = max((row["n_patients"] for row in overall), default=0)
    n_implants = max((row["n_implants"] for row in overall), default=0)
    levels = [
        Wait("interval", n_patients, FEWEST_FOR_INTERVAL, "patient"),
        Wait("verdict", n_patients, FEWEST_WITHOUT_CAUTION, "patient"),
        Wait("nine_in_ten", n_implants, fewest_values(0.9), "implant"),
        Wait("nineteen_in_twenty", n_implants, fewest_values(0.95), "implant"),
        Wait("bound", n_patients, fewest_patients(0.95, 0.95), "patient"),
    ]
    return Section(
        {"has_cases": audit.counts["cases"] > 0},
        waits=tuple(wait for wait in levels if wait.has < wait.needs),
    )


def in_words(words: Words, waits: Iterable[Wait]) -> list[str]:
    """Return one clause for each thing that waits, what needs least first.

    Things of one kind that wait for the same number share a clause.
    """
    kinds: dict[tuple[str, int, str], list[Wait]] = {}
    for wait in waits:
        kinds.setdefault((wait.what, wait.needs, wait.noun), []).append(wait)
    return [
        words(
            "waits.clause",
            what=words(f"waits.what.{what}", n=len(group), measure=group[0].measure),
            needs=words.count(noun, needs),
            has=max(wait.has for wait in group),
        )
        for (what, needs, noun), group in sorted(
            kinds.items(), key=lambda item: item[0][1]
        )
    ]

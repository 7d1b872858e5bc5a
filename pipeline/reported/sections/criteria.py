"""The clinic's criteria: target, met n of N with its interval, reached or not."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure
from pipeline.reported.room import (
    MOST_CRITERIA,
    PLOT_LETTERS,
    Room,
    first_side,
    lines_of,
)
from pipeline.reported.section import Section
from pipeline.reported.sections import harm, pairs
from pipeline.reported.sections.header import cycle_name
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import limit, measures, number, percent
from pipeline.statistics.verdicts import MOST_MORE_PATIENTS
from pipeline.summarised.criteria import TOO_FEW


def content(audit: AuditTables) -> Section:
    """Return the criteria lines of the first side."""
    lines = main_lines(audit.criteria)
    room = audit.once(room_of).criteria
    return Section(
        {
            "lines": [line(audit, row) for row in lines[:room]],
            "n_more": max(0, len(lines) - room),
            "measured_by": one_source(audit, lines),
            "of_last": last_cycle_note(audit),
            "are_all_examples": bool(lines) and all(row["is_example"] for row in lines),
        }
    )


def room_of(audit: AuditTables) -> Room:
    """Return what fits the first side of this audit."""
    lines = [line(audit, row) for row in main_lines(audit.criteria)[:MOST_CRITERIA]]
    return first_side(
        harm_lines=sum(group["lines"] for group in harm.on_paper(audit)),
        cycle=cycle_name(audit),
        criteria=[
            (row["criterion"], _small_print(audit, row), row["last"])
            if row["last"]
            else (row["criterion"], _small_print(audit, row))
            for row in lines
        ],
        note=last_cycle_note(audit),
        plot_lines=max(map(_lines_under, audit.once(pairs.content).figures), default=0),
    )


def _lines_under(drawing: Figure) -> int:
    told = drawing.told
    return sum(
        lines_of(text, PLOT_LETTERS) for text in (told.caption, " · ".join(told.key))
    )


def _small_print(audit: AuditTables, row: Row) -> str:
    example = audit.words("criteria.example") if row["is_example"] else ""
    return " · ".join((example, row["about"], row["group"], row["note"]))


def main_lines(rows: Sequence[Row]) -> list[Row]:
    """Return the line over all cases of each criterion, or the groups it is set for.

    The clinic's own criteria come before the examples that were shipped.
    """
    with_overall = {row["criterion"] for row in rows if row["group_by"] == "overall"}
    kept = [
        row
        for row in rows
        if row["group_by"] == "overall" or row["criterion"] not in with_overall
    ]
    return sorted(kept, key=lambda row: bool(row["is_example"]))


def one_source(audit: AuditTables, rows: Sequence[Row]) -> str:
    """Return how all lines were measured when it is the same for all, else nothing."""
    said = {audit.words.sources(row["sources"]) for row in rows}
    return said.pop() if len(said) == 1 else ""


def line(audit: AuditTables, row: Row) -> Row:
    """Return one criterion in words."""
    words = audit.words
    known = measures()[row["measure"]]
    text = limit(row["limit_value"], known.digits) + words.unit(known.unit)
    target = (
        None if row["target_percent"] is None else percent(row["target_percent"] / 100)
    )
    group = ""
    if row["group_by"] != "overall":
        group = words.code("group_value", row["group_value"])
    return {
        "criterion": row["criterion"],
        "about": words("criteria.about", label=known.label, limit=text),
        "group": group,
        "sources": words.sources(row["sources"]),
        "target": target or words("criteria.no_target"),
        "met": words.n_of(row["n_met"], row["n_total"]),
        "share": percent(row["share"]),
        "interval": ""
        if row["share_low"] is None
        else words.percent_interval(row["share_low"], row["share_high"]),
        "patients": words.n_of(row["n_patients_all_met"], row["n_patients"]),
        "is_example": row["is_example"],
        "reached": words.code(
            "reached", "example" if row["is_example"] else row["reached"]
        ),
        "sign": words.code(
            "reached_sign", "example" if row["is_example"] else row["reached"]
        ),
        "note": "" if row["is_example"] else " · ".join(_notes(audit, row)),
        "last": _of_last_cycle(audit, row),
    }


def _notes(audit: AuditTables, row: Row) -> list[str]:
    """Return what has to be said: a caution, and how many more patients it takes."""
    notes = [row["note"]] if row["note"] else []
    if row["reached"] != TOO_FEW or row["share_low"] is None:
        return notes
    if row["n_more"] is None:
        return [*notes, audit.words("criteria.will_not_decide", n=MOST_MORE_PATIENTS)]
    return [*notes, audit.words("criteria.n_more", n=row["n_more"])]


def last_cycle_note(audit: AuditTables) -> str:
    """Say which cycle the last one is; nothing where none is compared."""
    if not audit.cycle_change:
        return ""
    row, words = audit.cycle_change[0], audit.words
    return words(
        "criteria.last_cycle",
        name=row["last_cycle"],
        first=words.day(row["last_from"]),
        last=words.day(row["last_to"]),
    )


def _of_last_cycle(audit: AuditTables, row: Row) -> str:
    """Return what was met in the last cycle and the change; nothing without one."""
    words = audit.words
    same = ("criterion", row["criterion"], row["group_by"], row["group_value"])
    for old in audit.cycle_change:
        if (old["kind"], old["subject"], old["group_by"], old["group_value"]) == same:
            if not old["last_n_total"]:
                return words("criteria.last_none")
            return words(
                "criteria.last",
                met=words.n_of(old["last_n_met"], old["last_n_total"]),
                patients=words.count("patient", old["last_n_patients"]),
                share=percent(old["last_value"]),
                interval=words.percent_interval(old["last_low"], old["last_high"]),
                change=points(audit, old),
            )
    return ""


def points(audit: AuditTables, row: Row) -> str:
    """Return the change of a share in points with its interval, or too few to say."""
    if row["change_low"] is None:
        return audit.words("criteria.change_too_few")
    change, low, high = (
        number(100 * row[name], 0, is_signed=True)
        for name in ("change", "change_low", "change_high")
    )
    return audit.words("criteria.points", change=change, low=low, high=high)

"""The means of this cycle against the last one, under "more"."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number


def content(audit: AuditTables) -> Section | None:
    """Return one line a measure; nothing where no cycle came before."""
    rows = [row for row in audit.cycle_change if row["kind"] == "mean"]
    if not rows:
        return None
    notes = [row["note"] for row in audit.cycle_change if row["note"]]
    return Section(
        {
            "last_cycle": rows[0]["last_cycle"],
            "lines": [_line(audit, row) for row in rows],
            "notes": list(dict.fromkeys(notes)),
        }
    )


def _line(audit: AuditTables, row: Row) -> Row:
    known = measures()[row["measure"]]
    return {
        "measure": known.label,
        "now": _mean(audit, row, ""),
        "n": _counted(audit, row, ""),
        "before": _mean(audit, row, "last_"),
        "n_before": _counted(audit, row, "last_"),
        "change": change_in_words(audit, row),
        "ratio": ratio_in_words(audit, row),
    }


def _mean(audit: AuditTables, row: Row, start: str) -> str:
    words, name = audit.words, row["measure"]
    mean = words.value(name, row[f"{start}value"])
    low, high = row[f"{start}low"], row[f"{start}high"]
    if low is None:
        return mean
    return words("last_cycle.mean", mean=mean, interval=words.interval(name, low, high))


def _counted(audit: AuditTables, row: Row, start: str) -> str:
    words = audit.words
    noun = "implant" if measures()[row["measure"]].place == "implants" else "pair"
    return words(
        "last_cycle.counted",
        n=words.count(noun, row[f"{start}n_total"]),
        patients=words.count("patient", row[f"{start}n_patients"]),
    )


def change_in_words(audit: AuditTables, row: Row) -> str:
    """Return the change of a mean with its interval, or too few to say."""
    if row["change_low"] is None:
        return audit.words("criteria.change_too_few")
    known = measures()[row["measure"]]
    change, low, high = (
        number(row[name], known.digits, is_signed=True)
        for name in ("change", "change_low", "change_high")
    )
    return audit.words(
        "last_cycle.mean",
        mean=change,
        interval=audit.words("number.interval", low=low, high=high)
        + audit.words.unit(known.unit),
    )


def ratio_in_words(audit: AuditTables, row: Row) -> str:
    """Return how many times as large an error is, with its interval; else a dash."""
    if row["ratio_low"] is None:
        return number(None)
    ratio, low, high = (
        number(row[name], 2) for name in ("ratio", "ratio_low", "ratio_high")
    )
    return audit.words(
        "last_cycle.mean",
        mean=ratio,
        interval=audit.words("number.interval", low=low, high=high),
    )

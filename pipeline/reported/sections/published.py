"""Where the published figures come from, as pictures, and which were refused and why."""

from __future__ import annotations

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows
from pipeline.reported.forest import forest, pooled_row
from pipeline.reported.matching import set_words
from pipeline.reported.section import Section, Wait
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL
from pipeline.statistics.pooling import METHODS


def content(audit: AuditTables) -> Section | None:
    """Return the figures behind each verdict, what they pool to, and the refused ones."""
    if not audit.verdicts:
        return None
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    waits: list[Wait] = []
    comparisons = []
    for row in audit.verdicts:
        known = measures()[row["measure"]]
        drawing = None
        if row["mean_low"] is None:
            n = row["n_patients"]
            waits.append(Wait("forest", n, FEWEST_FOR_INTERVAL, "patient", known.label))
        else:
            drawing, more = forest(audit, row)
            figures.append(drawing)
            tables |= more
        comparisons.append(_comparison(audit, row, drawing))
    return Section({"comparisons": comparisons}, tuple(figures), tables, tuple(waits))


def _comparison(audit: AuditTables, row: Row, drawing: Figure | None) -> Row:
    name, measure = row["comparison_set"], row["measure"]
    label, caution = set_words(audit, name)
    matches = [
        match
        for match in audit.published_matches
        if (match["comparison_set"], match["measure"]) == (name, measure)
    ]
    refused = _refused(audit, [match for match in matches if not match["is_in_band"]])
    return {
        "title": f"{measures()[measure].label}: {label}",
        "caution": caution,
        "drawing": drawing,
        "pooled": _pooled(audit, row),
        "lines": [_line(audit, match) for match in matches if match["is_in_band"]],
        "refused": refused,
        "refused_heading": audit.words(
            "published.refused",
            n=sum(not match["is_in_band"] for match in matches),
        ),
    }


def _pooled(audit: AuditTables, verdict: Row) -> str:
    """Say what the set's single studies pool to by both estimators, or why not."""
    words, measure = audit.words, verdict["measure"]
    found = [pooled_row(audit, verdict, method) for method in METHODS]
    rows = [row for row in found if row is not None]
    if not rows or rows[0]["mean"] is None:
        return " ".join(_chosen(audit, row) + row["note"] for row in rows[:1])
    said = [
        words(
            "pooled.by",
            method=row["method"],
            mean=words.value(measure, row["mean"]),
            interval=words.interval(
                measure, max(0.0, row["mean_low"]), row["mean_high"]
            ),
            ahead=words.interval(
                measure, max(0.0, row["prediction_low"]), row["prediction_high"]
            ),
        )
        for row in rows
    ]
    first = rows[0]
    return _chosen(audit, first) + words(
        "pooled.text",
        n=first["n_studies"],
        patients=words.count("patient", first["n_patients"]),
        studies=first["studies"],
        said="; ".join(said),
        unlike=first["unlike"] or words("pooled.all_match"),
    )


def _chosen(audit: AuditTables, pooled: Row) -> str:
    """Say that the reader chose the studies, and which of them were refused."""
    if not pooled["is_own_choice"]:
        return ""
    refused = pooled["refused"] or audit.words("pooled.none_refused")
    return audit.words("pooled.own_choice", refused=refused) + " "


def _line(audit: AuditTables, match: Row) -> Row:
    """Return one figure of a band in words."""
    words = audit.words
    row = next(r for r in load.rows("published_accuracy") if r["key"] == match["key"])
    member = next(
        r
        for r in load.rows("comparison_members")
        if (r["comparison_set"], r["key"]) == (match["comparison_set"], match["key"])
    )
    low, high = row["ci_low"], row["ci_high"]
    return {
        "value": _value(audit, match),
        "interval": words("number.interval", low=low, high=high)
        if low and high
        else "",
        "citation": row["citation"],
        "doi": row["doi"],
        "design": words.code("design", row["design"]),
        "read": words.code("read", row["source_status"]),
        "unlike": match["reason"],
        "note": member["note"],
    }


def _value(audit: AuditTables, match: Row) -> str:
    unit = match["published_measure"].rpartition("_")[2]
    return number(match["value"], 2) + audit.words.unit(unit)


def _refused(audit: AuditTables, matches: list[Row]) -> list[Row]:
    """Return the refused figures; those of one paper with one reason share a line."""
    lines: dict[tuple[str, str], list[str]] = {}
    for match in matches:
        lines.setdefault((match["citation"], match["reason"]), []).append(
            _value(audit, match)
        )
    return [
        {"citation": citation, "reason": reason, "values": ", ".join(values)}
        for (citation, reason), values in lines.items()
    ]

"""The centres of a pooled audit: a forest plot and a table for each primary measure."""

from __future__ import annotations

from typing import Any

from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.forest import FOR_FIGURES, LINE, MARGIN, layers, line
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import code_in_groups, measures, number, whole
from pipeline.statistics.pooling import METHODS
from pipeline.summarised.centres import ONE_SAMPLE

KIND_OF = {"rows": "band", "totals": "study"}
"""How a centre is drawn: a full square for rows, a hollow one for totals."""


def content(audit: AuditTables) -> Section | None:
    """Return a plot and a table a primary measure; None where the audit is not pooled."""
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    shown: list[dict[str, Any]] = []
    for name, known in measures().items():
        rows = [row for row in audit.centres if row["measure"] == name]
        if known.is_primary and rows:
            figure, own = _drawing(audit, name, rows)
            figures.append(figure)
            tables |= own
            shown.append(
                {
                    "drawing": figure,
                    "lines": [_line(audit, row) for row in rows],
                }
            )
    if not shown:
        return None
    return Section({"by_measure": shown}, tuple(figures), tables)


def _pooled(audit: AuditTables, measure: str, method: str) -> Row:
    return next(
        row
        for row in audit.centres_pooled
        if (row["measure"], row["method"]) == (measure, method)
    )


def _ends(row: Row) -> tuple[float, float] | None:
    """Return the ends of an interval, none below 0, where no error lies."""
    low = row["mean_low"]
    return None if low is None else (max(0.0, low), row["mean_high"])


def _drawing(
    audit: AuditTables, name: str, centres: list[Row]
) -> tuple[Figure, dict[str, Rows]]:
    words, known = audit.words, measures()[name]
    table = f"centres_{name}"
    lines = [
        line(KIND_OF[row["content"]], _code(row), row["mean"], _ends(row))
        for row in centres
    ]
    sample = _pooled(audit, name, ONE_SAMPLE)
    lines.append(line("ours", words("centres.sample"), sample["mean"], _ends(sample)))
    random = _pooled(audit, name, METHODS[0])
    if random["mean"] is not None:
        own = line("pooled", words("centres.random"), random["mean"], _ends(random))
        own["ahead_low"] = max(0.0, random["prediction_low"])
        own["ahead_high"] = random["prediction_high"]
        lines.append(own)
    ends = [row["high"] or row["mean"] for row in lines]
    top = drawn.nice_limit(ends, 1 if known.unit == "mm" else 4)
    for at, row in enumerate(lines):
        row["line"] = at
        row["ahead_high"] = row["ahead_high"] and min(row["ahead_high"], top)
        row["top"] = round(top * FOR_FIGURES, 3)
    caption = _together(audit, name)
    kinds = {row["kind"] for row in lines}
    figure = charts.figure(
        table.replace("_", "-"),
        layers(audit, known, table, lines, top, words("centres.centre")),
        Told(
            caption,
            words("centres.aria", label=known.label, caption=caption),
            known.label,
            key=tuple(
                words(f"centres.key.{kind}")
                for kind in ("band", "study", "ours", "pooled")
                if kind in kinds
            ),
        ),
        width=charts.FULL,
        height=MARGIN + LINE * len(lines),
    )
    return figure, {table: lines, f"{table}_band": []}


def _together(audit: AuditTables, name: str) -> str:
    """Return what the centres come to together, both ways, in words."""
    words = audit.words
    sample, random = (_pooled(audit, name, m) for m in (ONE_SAMPLE, METHODS[0]))
    said = [
        words(
            "centres.as_sample",
            mean=words.value(name, sample["mean"]),
            interval=_interval(audit, name, sample),
            patients=words.count("patient", sample["n_patients"]),
            n=sample["n_centres"],
        )
    ]
    if random["mean"] is None:
        said.append(words("centres.few"))
    else:
        ahead = words.interval(
            name, max(0.0, random["prediction_low"]), random["prediction_high"]
        )
        said.append(
            words(
                "centres.at_random",
                mean=words.value(name, random["mean"]),
                interval=_interval(audit, name, random),
                ahead=ahead,
            )
        )
    return " ".join(said)


def _interval(audit: AuditTables, name: str, row: Row) -> str:
    ends = _ends(row)
    return audit.words.interval(name, *ends) if ends else audit.words("centres.none")


def _code(row: Row) -> str:
    return " ".join(code_in_groups(str(row["centre_code"])))


def _line(audit: AuditTables, row: Row) -> dict[str, str]:
    words, name = audit.words, row["measure"]
    short = words("centres.short") if row["is_short"] else ""
    return {
        "centre": _code(row),
        "content": words(f"centres.given.{row['content']}") + short,
        "n": f"{whole(row['n_patients'])} / {whole(row['n_implants'])}",
        "mean": f"{words.value(name, row['mean'])} ({_interval(audit, name, row)})",
        "sd": number(row["sd"], measures()[name].digits),
    }

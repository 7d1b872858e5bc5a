"""The records in full: what came, was held, mended, is missing, and what that means."""

from __future__ import annotations

from itertools import groupby

import altair as alt

from pipeline.reference import load
from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import FULL, Figure, Rows, Told
from pipeline.reported.section import Section
from pipeline.reported.sections import data_quality
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, whole

LINE_HEIGHT, MARGIN = 23, 48
FEWEST_DRAWN = 5
"""Cases a chart takes; fewer are said in words."""

MOST_FIELDS = 25
"""Fields that are drawn, those left empty most often."""

Made = tuple[Figure, dict[str, Rows]]


def content(audit: AuditTables) -> Section | None:
    """Return the page; nothing where no row is in use."""
    if not audit.received:
        return None
    box = audit.once(data_quality.content).context
    made = [drawn for draw in (_stages, _missing) if (drawn := draw(audit))]
    is_drawn = audit.counts["cases"] >= FEWEST_DRAWN
    tables: dict[str, Rows] = {}
    for _, rows in made if is_drawn else ():
        tables |= rows
    drawings = tuple(figure for figure, _ in made) if is_drawn else ()
    return Section(
        {
            "meaning": _meaning(audit),
            "received": _received(audit),
            "reasons": box["all_reasons"],
            "notes": box["all_notes"],
            "mended": _mended(audit),
            "drawings": drawings,
            "in_words": [] if is_drawn else [_in_words(*one) for one in made],
            "never": _never(audit),
        },
        drawings,
        tables,
    )


def _meaning(audit: AuditTables) -> list[str]:
    """Say what is not in the figures, and how far that could move them."""
    words = audit.words
    at = {row["stage"]: row for row in audit.completeness}
    figure = at.get("operated, with a figure")
    lines = []
    if figure is not None and figure["count_expected"]:
        known, operated = figure["count_cases"], figure["count_expected"]
        lines.append(
            words(
                "records.means.some" if known < operated else "records.means.all",
                of=words.n_of(known, operated),
                left=words.count("case", operated - known),
                points=number(100 * (operated - known) / operated, 1),
            )
        )
    held = sum(row["count_rows_held"] for row in audit.received)
    rows = sum(row["count_rows"] for row in audit.received)
    cells = sum(row["count_cells_held"] for row in audit.received)
    lines.append(
        words(
            "records.means.held",
            of=words.n_of(held, rows),
            share=number(100 * held / rows, 1),
        )
    )
    if cells:
        lines.append(words("records.means.cells", cells=words.count("cell", cells)))
    groupings = [
        words("records.means.group", field=row["field"], n=whole(row["count_missing"]))
        for row in audit.missing
        if row["sheet"] == "cases"
        and row["field"] in {group["column"] for group in load.rows("groupings")}
        and row["count_missing"]
    ]
    if groupings:
        lines.append(words("records.means.groups", groups=", ".join(groupings)))
    return lines


def _received(audit: AuditTables) -> list[Row]:
    order = load.sheets()
    return [
        {
            "sheet": row["sheet"].replace("_", " "),
            "files": whole(row["count_files"]),
            "rows": whole(row["count_rows"]),
            "rows_held": whole(row["count_rows_held"]),
            "cases_held": whole(row["count_cases_held"]),
            "cells_held": whole(row["count_cells_held"]),
        }
        for row in sorted(audit.received, key=lambda row: order.index(row["sheet"]))
    ]


def _mended(audit: AuditTables) -> list[str]:
    words = audit.words
    return [
        words(
            "records.mend",
            n=words.count("change", row["count_changes"]),
            how=row["how"],
            role=row["role"],
        )
        for row in audit.mended
    ]


def _stages(audit: AuditTables) -> Made | None:
    """Draw how many cases have each stage of the workflow on record."""
    words = audit.words
    rows = [
        {
            "label": words.code("stage", row["stage"]),
            "share": row["count_cases"] / row["count_expected"],
            "of": words.n_of(row["count_cases"], row["count_expected"]),
            "is_to_come": row["stage"] == "operated",
        }
        for row in audit.completeness
        if row["count_expected"]
    ]
    if not rows:
        return None
    least = min(rows[1:] or rows, key=lambda row: (row["is_to_come"], row["share"]))
    caption = words("records.stages.caption", stage=least["label"], of=least["of"])
    told = _told(audit, words("records.stages.title"), caption)
    return _bars("records_stages", rows, told, words("records.stages.axis"))


def _missing(audit: AuditTables) -> Made | None:
    """Draw the fields that some rows give and some do not."""
    words = audit.words
    partly = [row for row in audit.missing if 0 < row["share_missing"] < 1]
    if not partly:
        return None
    rows = [
        {
            "label": words(
                "records.missing.field",
                field=row["field"],
                sheet=row["sheet"].replace("_", " "),
            ),
            "share": row["share_missing"],
            "of": words.n_of(row["count_missing"], row["count_rows"]),
        }
        for row in partly[:MOST_FIELDS]
    ]
    caption = words(
        "records.missing.caption", shown=whole(len(rows)), n=whole(len(partly))
    )
    told = _told(audit, words("records.missing.title"), caption)
    return _bars("records_missing", rows, told, words("records.missing.axis"))


def _in_words(figure: Figure, tables: dict[str, Rows]) -> Row:
    """Return what a chart would show as lines of text."""
    (rows,) = tables.values()
    return {
        "title": figure.told.title,
        "lines": [f"{row['label']}: {row['of']}" for row in rows],
        "about": figure.told.caption,
    }


def _told(audit: AuditTables, title: str, caption: str) -> Told:
    said = audit.words("records.aria", title=title, caption=caption)
    return Told(caption, said, title)


def _bars(name: str, rows: list[Row], told: Told, axis: str) -> Made:
    """Draw shares as bars in the order of the rows, with n of N behind each."""
    y = alt.Y(
        "label:N",
        sort=None,
        axis=alt.Axis(title=None, labelLimit=320),
        scale=alt.Scale(paddingInner=0.4),
    )
    x = alt.X(
        "share:Q",
        scale=alt.Scale(domain=[0, 1.12], nice=False),
        axis=charts.x_axis(axis, format="%", values=[0, 0.25, 0.5, 0.75, 1]),
    )
    bars = charts.data(name).mark_bar(color=charts.LEFT).encode(x=x, y=y)
    figures = (
        charts.data(name)
        .mark_text(align="left", dx=5, color=charts.MUTED)
        .encode(x=x, y=y, text="of:N")
    )
    drawing = charts.figure(
        name.replace("_", "-"),
        alt.layer(bars, figures),
        told,
        width=FULL,
        height=LINE_HEIGHT * len(rows) + MARGIN,
    )
    return drawing, {name: rows}


def _never(audit: AuditTables) -> list[str]:
    """Return the fields of the sheets in use that no row gives, a line a sheet."""
    empty = sorted(
        (row["sheet"], row["field"])
        for row in audit.missing
        if row["share_missing"] == 1
    )
    return [
        audit.words(
            "records.never_of",
            sheet=sheet.replace("_", " "),
            fields=", ".join(field for _, field in fields),
        )
        for sheet, fields in groupby(empty, key=lambda pair: pair[0])
    ]

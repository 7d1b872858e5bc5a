"""A verdict as a picture: the published means, what they pool to, and ours below.

One line a figure: squares make the band, hollow squares are single studies that only
the pooling uses, the diamond is their pooled mean, the dot is the clinic's.
"""

from __future__ import annotations

import altair as alt
from scipy.special import ndtri

from pipeline.reference import load
from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.matching import set_words
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures, number
from pipeline.statistics.patients import UPPER_TAIL
from pipeline.statistics.pooling import METHODS
from pipeline.summarised.literature import variance_of

KINDS = ("band", "study", "pooled", "ours")
SHAPES = alt.Scale(domain=list(KINDS), range=["square", "square", "diamond", "circle"])
FILLS = alt.Scale(
    domain=list(KINDS), range=[charts.MUTED, charts.PAPER, charts.RIGHT, charts.LEFT]
)
INKS = alt.Scale(
    domain=list(KINDS), range=[charts.MUTED, charts.MUTED, charts.RIGHT, charts.LEFT]
)
SIZES = alt.Scale(domain=list(KINDS), range=[60, 50, 150, 110])
LINE = 26
MARGIN = 62
FOR_FIGURES = 1.42
"""How much wider than the data the picture is, so that the figures stand beside."""


def forest(audit: AuditTables, verdict: Row) -> tuple[Figure, dict[str, Rows]]:
    """Return the picture of a verdict that has an interval, and its table."""
    words = audit.words
    known = measures()[verdict["measure"]]
    rows = _lines(audit, known, verdict)
    edges = (
        verdict["band_low"] - verdict["floor"],
        verdict["band_high"] + verdict["floor"],
    )
    ends = [row["high"] or row["mean"] for row in rows]
    top = drawn.nice_limit([*ends, edges[1]], 1 if known.unit == "mm" else 2)
    for at, row in enumerate(rows):
        row["line"] = at
        row["ahead_high"] = row["ahead_high"] and min(row["ahead_high"], top)
        row["top"] = round(top * FOR_FIGURES, 3)
    label, _ = set_words(audit, verdict["comparison_set"])
    table = f"forest_{verdict['comparison_set']}_{known.name}"
    caption = words(
        "forest.caption",
        band=words.interval(known.name, verdict["band_low"], verdict["band_high"]),
        floor=words.size(known.name, verdict["floor"]),
        mean=words.value(known.name, verdict["mean"]),
        interval=words.interval(known.name, verdict["mean_low"], verdict["mean_high"]),
    )
    bands: list[Row] = [
        {
            "low": verdict["band_low"],
            "high": verdict["band_high"],
            "edge_low": max(0.0, edges[0]),
            "edge_high": edges[1],
        }
    ]
    kinds = {row["kind"] for row in rows}
    drawing = charts.figure(
        table.replace("_", "-"),
        layers(audit, known, table, rows, top, words("published.source")),
        Told(
            caption,
            words("forest.aria", label=known.label, set=label, caption=caption),
            f"{known.label}: {label}",
            key=(
                *(words(f"forest.key.{kind}") for kind in KINDS if kind in kinds),
                words("forest.key.shade"),
            ),
        ),
        width=charts.FULL,
        height=MARGIN + LINE * len(rows),
    )
    return drawing, {table: rows, f"{table}_band": bands}


def _lines(audit: AuditTables, known: Measure, verdict: Row) -> list[Row]:
    name = verdict["comparison_set"]
    published = {row["key"]: row for row in load.rows("published_accuracy")}
    band = [
        row
        for row in audit.published_matches
        if (row["comparison_set"], row["measure"]) == (name, known.name)
        and row["is_in_band"]
    ]
    lines = []
    for row in band:
        printed = published[row["key"]]
        low, high = printed["ci_low"], printed["ci_high"]
        ends = (float(low), float(high)) if low and high else None
        lines.append(line("band", row["citation"], float(row["value"]), ends))
    pooled = pooled_row(audit, verdict)
    if pooled is not None and pooled["mean"] is not None:
        in_band = {row["key"] for row in band}
        for key in filter(None, pooled["study_keys"].split("; ")):
            study = published[key]
            if key not in in_band:
                reach = float(ndtri(UPPER_TAIL)) * variance_of(study) ** 0.5
                mean = float(study["value"])
                ends = (mean - reach, mean + reach)
                lines.append(line("study", study["citation"], mean, ends))
        label = audit.words("forest.pooled", n=pooled["n_studies"])
        ends = (pooled["mean_low"], pooled["mean_high"])
        own = line("pooled", label, pooled["mean"], ends)
        own["ahead_low"] = max(0.0, pooled["prediction_low"])
        own["ahead_high"] = pooled["prediction_high"]
        lines.append(own)
    ends = (verdict["mean_low"], verdict["mean_high"])
    label = audit.words(
        "forest.ours", patients=audit.words.count("patient", verdict["n_patients"])
    )
    return [*lines, line("ours", label, verdict["mean"], ends)]


def pooled_row(
    audit: AuditTables, verdict: Row, method: str = METHODS[0]
) -> Row | None:
    """Return what the studies of a verdict's set pool to, if the audit holds it."""
    wanted = (verdict["comparison_set"], verdict["measure"], method)
    return next(
        (
            row
            for row in audit.pooled_published
            if (row["comparison_set"], row["measure"], row["method"]) == wanted
        ),
        None,
    )


def line(kind: str, label: str, mean: float, ends: tuple[float, float] | None) -> Row:
    """Return one line; nothing is drawn below 0, where no error lies."""
    low, high = (None, None) if ends is None else (max(0.0, ends[0]), ends[1])
    figures = number(mean, 2)
    if low is not None:
        figures += f" ({number(low, 2)} – {number(high, 2)})"
    return {
        "kind": kind,
        "label": label,
        "mean": round(mean, drawn.DECIMALS),
        "low": low,
        "high": high,
        "ahead_low": None,
        "ahead_high": None,
        "figures": figures,
    }


def layers(
    audit: AuditTables,
    known: Measure,
    table: str,
    rows: list[Row],
    top: float,
    of_what: str,
) -> alt.LayerChart:
    """Return the marks of a forest plot: a line a row, its figures beside.

    Args:
        audit: for its words.
        known: the measure, an error.
        table: name of the rows on the page; its shades are in ``<table>_band``.
        rows: made by :func:`line`, each with the place ``top`` of its figures.
        top: right end of the axis.
        of_what: what a line is, in words.
    """
    words = audit.words
    scale = alt.Scale(domain=[0, top * FOR_FIGURES], nice=False)
    axis = charts.x_axis(
        words("strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")),
        values=[tick * top / 4 for tick in range(5)],
    )
    x = alt.X("mean:Q", scale=scale, axis=axis)
    lane = alt.Y(
        "label:N",
        sort=[row["label"] for row in rows],
        axis=alt.Axis(title=None, grid=False, labelLimit=340),
    )
    kind_ink = alt.Color("kind:N", scale=INKS, legend=None)
    shade = charts.data(f"{table}_band")
    edge = {"color": charts.FLOOR, "strokeDash": [4, 3], "strokeWidth": 1}
    return alt.layer(
        shade.mark_rect(color=charts.BAND).encode(
            x=alt.X("low:Q"), x2=alt.X2("high:Q")
        ),
        shade.mark_rule(**edge).encode(x=alt.X("edge_low:Q")),
        shade.mark_rule(**edge).encode(x=alt.X("edge_high:Q")),
        charts.data(table)
        .mark_rule(strokeDash=[1, 3], strokeWidth=1.6)
        .encode(
            x=alt.X("ahead_low:Q"), x2=alt.X2("ahead_high:Q"), y=lane, color=kind_ink
        ),
        charts.data(table)
        .mark_rule(strokeWidth=1.8)
        .encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=lane, color=kind_ink),
        charts.data(table)
        .mark_point(opacity=1, strokeWidth=1.6)
        .encode(
            x=x,
            y=lane,
            shape=alt.Shape("kind:N", scale=SHAPES, legend=None),
            fill=alt.Fill("kind:N", scale=FILLS, legend=None),
            stroke=alt.Stroke("kind:N", scale=INKS, legend=None),
            size=alt.Size("kind:O", scale=SIZES, legend=None),
            tooltip=[
                alt.Tooltip("label:N", title=of_what),
                alt.Tooltip("figures:N", title=words("forest.tip")),
            ],
        ),
        charts.data(table)
        .mark_text(align="right", fontSize=12)
        .encode(x=alt.X("top:Q"), y=lane, text=alt.Text("figures:N")),
    )

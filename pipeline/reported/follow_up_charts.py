"""Charts of the years after: each denture over time, mean counts, first trouble."""

from __future__ import annotations

import altair as alt
import numpy as np

from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, percent

Made = tuple[Figure, dict[str, Rows]]

GROUP = "attachment"
LINE_HEIGHT, MARGIN, CURVE_HEIGHT = 8, 60, 270
CLASSES = ["adjustment", "repair", "replacement", "finding"]
CLASS_SHAPES = ["circle", "square", "diamond", "circle"]
CLASS_INKS = [charts.LEFT, charts.RIGHT, charts.INK, charts.LEFT]
KIND_INKS = [charts.INK, charts.LEFT, charts.RIGHT, charts.FLOOR, charts.MUTED]
DASHES = [[1, 0], [6, 3], [2, 2], [8, 2, 2, 2], [4, 4]]
MOST_AT_RISK_LABELS = 8


def _years_axis(audit: AuditTables, top: float) -> alt.X:
    return alt.X(
        "years:Q",
        scale=alt.Scale(domain=[0, top], nice=False),
        axis=charts.x_axis(audit.words("years_after.chart.axis")),
    )


def _told(
    audit: AuditTables, title: str, caption: str, key: tuple[str, ...] = ()
) -> Told:
    said = audit.words("years_after.chart.aria", title=title, caption=caption)
    return Told(caption, said, title, key)


def raster(audit: AuditTables) -> Made:
    """Draw a line for each denture and a sign for each event on it."""
    words = audit.words
    place = {row["denture_key"]: at for at, row in enumerate(audit.dentures)}
    lines = [
        {
            "case": row["case_key"],
            "place": place[row["denture_key"]],
            "years": round(row["exposure_years"], 3),
            "start": 0,
        }
        for row in audit.dentures
    ]
    signs = [
        {
            "case": row["case_key"],
            "place": place[row["denture_key"]],
            "years": round(row["years_after_delivery"], 3),
            "kind": row["event_class"],
            "what": words.code("", row["event"]),
            "day": words.day(row["event_date"]),
        }
        for row in audit.trouble
    ]
    top = max(row["years"] for row in lines) * 1.02
    x = _years_axis(audit, top)
    y = alt.Y(
        "place:Q",
        scale=alt.Scale(domain=[-0.7, len(lines) - 0.3], reverse=True, nice=False),
        axis=charts.y_axis(
            words("years_after.chart.dentures"), labels=False, grid=False
        ),
    )
    chart = alt.layer(
        charts.data("denture_lines")
        .mark_rule(color=charts.MUTED, strokeWidth=1.2)
        .encode(x=x, x2=alt.X2("start:Q"), y=y, opacity=charts.lit(0.7, 0.15)),
        charts.data("denture_events")
        .mark_point(filled=True, stroke=charts.PAPER, strokeWidth=0.5)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "kind:N",
                scale=alt.Scale(domain=CLASSES, range=CLASS_SHAPES),
                legend=None,
            ),
            color=alt.Color(
                "kind:N", scale=alt.Scale(domain=CLASSES, range=CLASS_INKS), legend=None
            ),
            opacity=charts.lit(0.95, 0.15),
            size=charts.picked_size(34),
            description=alt.Description("case:N"),
            tooltip=[
                alt.Tooltip("case:N", title=words("tip.case")),
                alt.Tooltip("day:N", title=words("tip.day")),
                alt.Tooltip("what:N", title=words("years_after.group")),
            ],
        ),
    )
    n_with = len({row["place"] for row in signs})
    caption = words(
        "years_after.chart.raster",
        events=words.count("event", len(signs)),
        dentures=words.count("denture", n_with),
        without=len(lines) - n_with,
    )
    key = (
        words("years_after.chart.key_classes"),
        words("years_after.chart.key_shapes"),
    )
    drawing = charts.figure(
        "years-raster",
        chart,
        _told(audit, words("years_after.chart.raster_title"), caption, key),
        width=charts.FULL,
        height=MARGIN + LINE_HEIGHT * max(len(lines), 8),
    )
    return drawing, {"denture_lines": lines, "denture_events": signs}


def mean_count(audit: AuditTables) -> Made | None:
    """Draw the mean number of events of a denture, a curve a kind of attachment."""
    rows = [row for row in audit.mean_counts if row["event_group"] == GROUP]
    kinds = sorted(
        {row["attachment"] for row in rows}, key=lambda kind: (kind != "all", kind)
    )
    if len(kinds) == 2:
        kinds = ["all"]  # one kind is all there is
    if not kinds:
        return None
    words = audit.words
    points = [
        point
        for kind in kinds
        for point in _from_zero(
            audit, kind, [r for r in rows if r["attachment"] == kind]
        )
    ]
    names = [words.code("years_after.kind_of", kind) for kind in kinds]
    top = max(row["years"] for row in points) * 1.12
    x = _years_axis(audit, top)
    axis = charts.y_axis(words("years_after.chart.mean_axis"))
    color = alt.Color(
        "kind:N", scale=alt.Scale(domain=names, range=KIND_INKS), legend=None
    )
    dash = alt.StrokeDash(
        "kind:N", scale=alt.Scale(domain=names, range=DASHES), legend=None
    )
    step = {"interpolate": "step-after"}
    chart = alt.layer(
        charts.data("mean_counts")
        .mark_area(opacity=0.13, **step)
        .encode(x=x, y=alt.Y("low:Q", axis=axis), y2=alt.Y2("high:Q"), color=color),
        charts.data("mean_counts")
        .mark_line(strokeWidth=1.8, **step)
        .encode(x=x, y=alt.Y("mean:Q", axis=axis), color=color, strokeDash=dash),
        charts.data("mean_ends")
        .mark_text(align="left", dx=5)
        .encode(x=x, y=alt.Y("mean:Q", axis=axis), text="kind:N", color=color),
    )
    drawing = charts.figure(
        "years-mean-count",
        chart,
        _told(audit, words("years_after.chart.mean_title"), _mean_caption(audit, rows)),
        width=charts.HALF,
        height=CURVE_HEIGHT,
    )
    ends = [[p for p in points if p["kind"] == name][-1] for name in names]
    return drawing, {"mean_counts": points, "mean_ends": ends}


def _from_zero(audit: AuditTables, kind: str, rows: list[Row]) -> list[Row]:
    name = audit.words.code("years_after.kind_of", kind)
    found: list[Row] = [{"kind": name, "years": 0, "mean": 0, "low": 0, "high": 0}]
    found += [
        {
            "kind": name,
            "years": round(row["years"], 3),
            "mean": round(row["mean_count"], 3),
            "low": round(row["mean_low"] or row["mean_count"], 3),
            "high": round(row["mean_high"] or row["mean_count"], 3),
        }
        for row in rows
    ]
    return found


def _mean_caption(audit: AuditTables, rows: list[Row]) -> str:
    words = audit.words
    of_all = [row for row in rows if row["attachment"] == "all"]
    within = [row for row in of_all if row["years"] <= 1]
    if not within or of_all[-1]["years"] < 1:
        return words("years_after.chart.mean_no_year")
    last = within[-1]
    interval = ""
    if last["mean_high"] is not None:
        low, high = (number(last[name], 1) for name in ("mean_low", "mean_high"))
        interval = words("trouble.interval", low=low, high=high)
    mean = number(last["mean_count"], 1)
    return words("years_after.chart.mean", mean=mean, interval=interval)


def first_event(audit: AuditTables) -> Made | None:
    """Draw the share that has had trouble, with the numbers still without it."""
    rows = [
        row
        for row in audit.first_events
        if (row["event_group"], row["attachment"], row["curve"])
        == (GROUP, "all", "had_event")
    ]
    if not rows:
        return None
    words = audit.words
    points: list[Row] = [{"years": 0, "share": 0, "low": 0, "high": 0}]
    points += [
        {
            "years": round(row["years"], 3),
            "share": round(row["share"], 4),
            "low": round(row["share_low"], 4),
            "high": round(row["share_high"], 4),
        }
        for row in rows
    ]
    top = max(point["years"] for point in points) * 1.04
    x = _years_axis(audit, top)
    axis = charts.y_axis(words("years_after.chart.share_axis"), format="%")
    y_scale = alt.Scale(domain=[-0.2, 1], nice=False)

    def y(name: str) -> alt.Y:
        return alt.Y(f"{name}:Q", scale=y_scale, axis=axis)

    axis.values = [0, 0.25, 0.5, 0.75, 1]
    step = {"interpolate": "step-after"}
    small = {"fontSize": 11, "color": charts.MUTED}
    chart = alt.layer(
        charts.data("first_events")
        .mark_area(opacity=0.15, color=charts.LEFT, **step)
        .encode(x=x, y=y("low"), y2=alt.Y2("high:Q")),
        charts.data("first_events")
        .mark_line(color=charts.LEFT, strokeWidth=1.8, **step)
        .encode(x=x, y=y("share")),
        charts.data("first_at_risk")
        .mark_text(**small)
        .encode(x=x, y=alt.YDatum(-0.155, scale=y_scale), text="count:N"),
        charts.data("first_at_risk_label")
        .mark_text(align="left", **small)
        .encode(x=alt.XValue(2), y=alt.YDatum(-0.06, scale=y_scale), text="text:N"),
    )
    last = rows[-1]
    interval = words(
        "trouble.interval",
        low=number(100 * last["share_low"], 0),
        high=percent(last["share_high"]),
    )
    caption = words(
        "years_after.chart.first",
        years=number(last["years"], 1),
        share=percent(last["share"]),
        interval=interval,
    )
    drawing = charts.figure(
        "years-first-event",
        chart,
        _told(audit, words("years_after.chart.first_title"), caption),
        width=charts.HALF,
        height=CURVE_HEIGHT,
    )
    label = [{"text": words("years_after.chart.at_risk")}]
    return drawing, {
        "first_events": points,
        "first_at_risk": _at_risk(rows, top),
        "first_at_risk_label": label,
    }


def _at_risk(rows: list[Row], top: float) -> list[Row]:
    """Return numbers at risk at even times, from the steps of the curve."""
    times = np.array([row["years"] for row in rows])
    step = next(s for s in (0.25, 0.5, 1, 2, 5, 10) if top / s <= MOST_AT_RISK_LABELS)
    found: list[Row] = []
    for at in np.arange(0, top, step):
        after = int(np.searchsorted(times, at))
        if after < len(rows):
            count = rows[after]["count_at_risk"]
            found.append({"years": round(float(at), 3), "count": str(count)})
    return found

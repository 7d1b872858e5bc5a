"""The chart of the clinic's rates beside those in print, one line an arm of a study."""

from __future__ import annotations

import altair as alt

from pipeline.reference import load
from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, whole

GROUP, EVERY_KIND, WHOLE_TIME = "attachment", "all", "all"
LINE_HEIGHT, MARGIN = 19, 60
LONGEST_LABEL = 440
"""Pixels of a label before it is cut off."""


def rates_forest(audit: AuditTables) -> tuple[Figure, dict[str, Rows]] | None:
    """Draw rates per 100 denture-years with their intervals; print is never pooled.

    Nothing below 5 patients. Only rates are drawn: what is printed as a percentage has no time to divide by.
    """
    all_trouble = audit.event_rates[(GROUP, EVERY_KIND, WHOLE_TIME)]
    if all_trouble["rate_high"] is None:
        return None  # too few patients for an interval
    lines: list[Row] = []
    for group in load.rows("event_groups"):
        own = _own(audit, group["event_group"])
        printed = _printed(audit, group["event_group"])
        if own and printed:
            lines += [{"label": group["label"]}, *own, *printed]
    for place, line in enumerate(lines):
        line["place"] = place
    points = [line for line in lines if "rate" in line]
    words = audit.words
    heads, labels = (
        [
            {"place": line["place"], "label": line["label"]}
            for line in lines
            if ("rate" in line) == is_point
        ]
        for is_point in (False, True)
    )
    y = alt.Y(
        "place:Q",
        scale=alt.Scale(domain=[-0.6, len(lines) - 0.4], reverse=True, nice=False),
        axis=None,
    )
    top = max(line.get("high") or line["rate"] for line in points)
    scale = alt.Scale(domain=[-1.15 * top, top * 1.03], nice=False)
    axis = charts.x_axis(words("years_after.forest.axis"), values=_ticks(top))
    x = alt.X("rate:Q", scale=scale, axis=axis)
    whose = alt.Color(
        "whose:N",
        scale=alt.Scale(domain=["own", "printed"], range=[charts.LEFT, charts.MUTED]),
        legend=None,
    )
    shape = alt.Shape(
        "whose:N",
        scale=alt.Scale(domain=["own", "printed"], range=["circle", "square"]),
        legend=None,
    )
    chart = alt.layer(
        charts.data("forest_heads")
        .mark_text(align="left", fontSize=11.5, fontWeight=600, color=charts.INK)
        .encode(x=alt.XValue(0), y=y, text="label:N"),
        charts.data("forest_labels")
        .mark_text(align="left", fontSize=11, limit=LONGEST_LABEL, color=charts.INK)
        .encode(x=alt.XValue(0), y=y, text="label:N"),
        charts.data("forest_limits")
        .mark_rule(strokeWidth=1.6)
        .encode(
            x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q", y=y, color=whose
        ),
        charts.data("forest_rates")
        .mark_point(filled=True, size=55, opacity=1)
        .encode(x=x, y=y, color=whose, shape=shape),
    )
    drawing = charts.figure(
        "years-rates",
        chart,
        _told(audit, all_trouble, points),
        width=charts.FULL,
        height=MARGIN + LINE_HEIGHT * len(lines),
    )
    limits = [
        {name: line[name] for name in ("place", "whose", "low", "high")}
        for line in points
        if line["high"] is not None
    ]
    rates = [
        {name: line[name] for name in ("place", "whose", "rate")} for line in points
    ]
    return drawing, {
        "forest_heads": heads,
        "forest_labels": labels,
        "forest_limits": limits,
        "forest_rates": rates,
    }


def _ticks(top: float) -> list[float]:
    step = next(
        s for s in (10, 25, 50, 100, 250, 500, 1000) if top / s <= 8 or s == 1000
    )
    return [step * k for k in range(int(top // step) + 1)]


def _own(audit: AuditTables, group: str) -> list[Row]:
    """Return the clinic's rate of a group, all kinds first, then each kind."""
    rows = [
        row
        for (of_group, _, period), row in audit.event_rates.items()
        if (of_group, period) == (group, WHOLE_TIME) and row["exposure_years"]
    ]
    rows.sort(key=lambda row: (row["attachment"] != EVERY_KIND, row["attachment"]))
    if len(rows) == 2:
        rows = rows[1:]  # one kind is all there is
    words = audit.words
    return [
        {
            "label": words(
                "years_after.forest.own",
                kind=words.code("years_after.kind_of", row["attachment"]),
                dentures=words.count("denture", row["count_dentures"]),
                years=number(row["exposure_years"], 1),
            ),
            "whose": "own",
            "rate": round(row["rate_per_100"], 1),
            "low": None if row["rate_low"] is None else round(row["rate_low"], 1),
            "high": None if row["rate_high"] is None else round(row["rate_high"], 1),
        }
        for row in rows
    ]


def _printed(audit: AuditTables, group: str) -> list[Row]:
    words = audit.words
    return [
        {
            "label": words(
                "years_after.forest.printed",
                kind=words.code("years_after.kind_of", row["attachment"]),
                citation=row["citation"],
                event=row["event"],
                patients=words.count("patient", int(row["n_patients"])),
                years=row["years"],
            ),
            "whose": "printed",
            "rate": float(row["value"]),
            "low": float(row["low"]) if row["low"] else None,
            "high": float(row["high"]) if row["high"] else None,
        }
        for row in load.rows("attachment_events_published")
        if (row["event_group"], row["measure"]) == (group, "rate_per_100_years")
    ]


def _told(audit: AuditTables, own: Row, points: list[Row]) -> Told:
    words = audit.words
    printed = [point for point in points if point["whose"] == "printed"]
    rates = [row["rate"] for row in _printed(audit, GROUP)]
    low, high = (number(own[end], 0) for end in ("rate_low", "rate_high"))
    interval = words("trouble.interval", low=low, high=high)
    caption = words(
        "years_after.forest.caption",
        rate=number(own["rate_per_100"], 0),
        interval=interval,
        lowest=number(min(rates), 0),
        highest=number(max(rates), 0),
        arms=whole(len(rates)),
    )
    title = words("years_after.forest.title")
    without = sum(point["high"] is None for point in printed)
    key = (
        words("years_after.forest.key_signs"),
        words("years_after.forest.key_limits", n=whole(without)),
    )
    said = words("years_after.chart.aria", title=title, caption=caption)
    return Told(caption, said, title, key)

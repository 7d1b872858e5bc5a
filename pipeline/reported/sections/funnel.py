"""Trainees, laboratories and kinds of guide against their common share, by code."""

from __future__ import annotations

from itertools import groupby
from typing import Final

import altair as alt

from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import code_in_groups, percent
from pipeline.statistics.funnel import FEWEST_FOR_SPREAD

HEIGHT: Final = 220
LIMITS: Final = ("low", "high", "far_low", "far_high")


def content(audit: AuditTables) -> Section | None:
    """Return a funnel for each kind of unit with a common share; None without any."""
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    for kind, rows in groupby(audit.funnel, key=lambda row: row["kind"]):
        own = [row for row in rows if row["target"] is not None]
        if own:
            tables[f"funnel_{kind}"] = [_point(audit, row) for row in own]
            figures.append(_drawing(audit, kind, own))
    if not figures:
        return None
    return Section({"figures": figures}, tuple(figures), tables)


def _point(audit: AuditTables, row: Row) -> Row:
    unit = str(row["unit"])
    is_code = row["kind"] != "guide_method"
    limits = {name: round(100 * row[name], 2) for name in LIMITS}
    return {
        "unit": " ".join(code_in_groups(unit))
        if is_code
        else audit.words.code("guide_method", unit),
        "n": row["n_cases"],
        "failed": row["n_failed"],
        "value": round(100 * row["share"], 2),
        "target": round(100 * row["target"], 2),
        "sign": "outside" if row["is_outside"] else "inside",
        **limits,
    }


def _drawing(audit: AuditTables, kind: str, rows: list[Row]) -> Figure:
    words, table = audit.words, f"funnel_{kind}"
    y_title = words("funnel.axis_share")
    base = charts.data(table)
    most = max(row["n_cases"] for row in rows)
    x = alt.X(
        "n:Q",
        scale=alt.Scale(domain=[0, most * 1.08], nice=False),
        axis=charts.x_axis(words("funnel.axis_cases"), tickMinStep=1, format="d"),
    )

    def y(field: str) -> alt.Y:
        scale = alt.Scale(domain=[0, 100])
        return alt.Y(f"{field}:Q", scale=scale, axis=charts.y_axis(y_title))

    def line(field: str, dash: list[int]) -> alt.Chart:
        return base.mark_line(
            color=charts.FLOOR, strokeDash=dash, strokeWidth=1.2
        ).encode(x=x, y=y(field), order=alt.Order("n:Q"))

    shapes = alt.Scale(domain=["inside", "outside"], range=["circle", "diamond"])
    inks = alt.Scale(domain=["inside", "outside"], range=[charts.LEFT, charts.RIGHT])
    dots = base.mark_point(filled=True, size=70).encode(
        x=x,
        y=y("value"),
        shape=alt.Shape("sign:N", scale=shapes, legend=None),
        color=alt.Color("sign:N", scale=inks, legend=None),
        tooltip=[
            alt.Tooltip("unit:N", title=words(f"funnel.unit.{kind}")),
            alt.Tooltip("n:Q", title=words("funnel.axis_cases")),
            alt.Tooltip("failed:Q", title=words("funnel.missed")),
        ],
    )
    names = base.mark_text(dy=-11, color=charts.MUTED, fontSize=11).encode(
        x=x, y=y("value"), text="unit:N"
    )
    layers = [
        base.mark_line(color=charts.MUTED, strokeWidth=1).encode(x=x, y=y("target")),
        *(line(name, [5, 3]) for name in LIMITS[:2]),
        *(line(name, [1, 3]) for name in LIMITS[2:]),
        dots,
        names,
    ]
    caption = _caption(audit, kind, rows)
    heading = words(f"funnel.title.{kind}")
    aria = words("funnel.aria", heading=heading, caption=caption)
    return charts.figure(
        f"funnel-{kind.replace('_', '-')}",
        alt.layer(*layers),
        Told(caption, aria, title=heading, key=(words("funnel.key"),)),
        width=charts.HALF,
        height=HEIGHT,
    )


def _caption(audit: AuditTables, kind: str, rows: list[Row]) -> str:
    words = audit.words
    outside = sum(bool(row["is_outside"]) for row in rows)
    first = words(
        "funnel.caption",
        n_of=words.n_of(outside, len(rows)),
        units=words(f"funnel.units.{kind}"),
        target=percent(rows[0]["target"]),
        by_chance=f"{0.05 * len(rows):.1f}",
    )
    if rows[0]["phi"] is None:
        spread = words("funnel.unjudged", fewest=FEWEST_FOR_SPREAD)
    else:
        key = "widened" if rows[0]["is_widened"] else "as_chance"
        spread = words(f"funnel.{key}", phi=f"{rows[0]['phi']:.1f}")
    return f"{first} {spread}"

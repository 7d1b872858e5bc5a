"""Each implant's lean forward or backward against the occlusal plane, from plan to result."""

from __future__ import annotations

from typing import Final

import altair as alt

from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Told
from pipeline.reported.drawn import nice_limit
from pipeline.reported.table_reader import Row

TABLE: Final = "forward_leans"
SIDES: Final = ("left", "right")
LANE: Final = 84
MARGIN: Final = 62
GOLDEN: Final = 0.6180339887


def forward_leans(audit: AuditTables) -> list[Row]:
    """Return one row an implant whose lean against the occlusal plane is known."""
    cases = [row for row in audit.parallel_pairs if row["case_key"] in audit.case_of]
    return [
        {
            "case": row["case_key"],
            "side": audit.words.code("side", side),
            "planned": row[f"planned_{side}_forward_lean_deg"],
            "achieved": row[f"achieved_{side}_forward_lean_deg"],
            "height": round((at * GOLDEN) % 1, 3),
        }
        for at, row in enumerate(cases)
        for side in SIDES
        if row[f"achieved_{side}_forward_lean_deg"] is not None
    ]


def leans_figure(audit: AuditTables, rows: list[Row]) -> Figure:
    """Draw left and right in a lane each: a line from plan to result, a dot at the result."""
    words = audit.words
    ends = [row[name] for row in rows for name in ("planned", "achieved")]
    reach = nice_limit([end for end in ends if end is not None], 2)
    scale = alt.Scale(domain=[-reach, reach], nice=False)
    axis = charts.x_axis(words("parallelism.lean_axis"))
    x = alt.X("achieved:Q", scale=scale, axis=axis)
    upright = (
        charts.data(TABLE)
        .mark_rule(color=charts.MUTED, strokeDash=[3, 3])
        .encode(x=alt.XDatum(0, scale=scale))
    )
    back = sum(row["achieved"] < 0 for row in rows)
    caption = words("parallelism.lean_caption", n_of=words.n_of(back, len(rows)))
    return charts.figure(
        "forward-leans",
        alt.layer(upright, *_ways(audit, x)),
        Told(
            caption,
            words("parallelism.lean_aria", caption=caption),
            words("parallelism.lean_title"),
            (words("parallelism.lean_key"),),
        ),
        width=charts.FULL,
        height=MARGIN + LANE * len(SIDES),
    )


def _ways(audit: AuditTables, x: alt.X) -> list[alt.Chart]:
    """Return the lines from plan to result and the dots at the result, in their lanes."""
    words = audit.words
    sides = [words.code("side", name) for name in SIDES]
    shapes = alt.Scale(domain=sides, range=["circle", "diamond"])
    inks = alt.Scale(domain=sides, range=[charts.LEFT, charts.RIGHT])
    lane = {
        "y": alt.Y("side:N", sort=sides, axis=alt.Axis(title=None, grid=False)),
        "yOffset": alt.YOffset("height:Q", scale=alt.Scale(domain=[-0.25, 1.25])),
    }
    tips = [
        alt.Tooltip(
            f"{name}:Q", title=words(f"parallelism.column.{name}"), format="+.1f"
        )
        for name in ("planned", "achieved")
    ]
    lines = (
        charts.data(TABLE)
        .transform_filter("isValid(datum.planned)")
        .mark_rule(color=charts.MUTED, strokeWidth=1)
        .encode(x=x, x2=alt.X2("planned:Q"), opacity=charts.lit(0.8, 0.1), **lane)
    )
    dots = (
        charts.data(TABLE)
        .mark_point(filled=True)
        .encode(
            x=x,
            shape=alt.Shape("side:N", scale=shapes, legend=None),
            color=alt.Color("side:N", scale=inks, legend=None),
            opacity=charts.lit(0.95, 0.15),
            size=charts.picked_size(46),
            description=alt.Description("case:N"),
            tooltip=[alt.Tooltip("case:N", title=words("tip.case")), *tips],
            **lane,
        )
    )
    return [lines, dots]

"""Are the two implants still parallel: planned against achieved, and in both planes."""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section, Wait
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, median_of

FEWEST = 5
"""Pairs a plot takes; below that each case stands in the table under more."""

HEIGHT = 254
VIEW = (370, 184)
SIGNS = alt.Scale(domain=["pair", drawn.ON_PURPOSE], range=["circle", "cross"])
INKS = alt.Scale(domain=["pair", drawn.ON_PURPOSE], range=[charts.PAIR, charts.MUTED])


def content(audit: AuditTables) -> Section:
    """Return both plots, or what they wait for."""
    rows = drawn.pairs(audit)
    angles = drawn.held(rows, "planned_angle_deg", "achieved_angle_deg")
    planes = drawn.held(
        rows, "frontal_convergence_change_deg", "sagittal_difference_change_deg"
    )
    figures: list[Figure] = []
    waits: list[Wait] = []
    tables: dict[str, Rows] = {"pairs": rows}
    for name, held, draw in (("angles", angles, _angles), ("planes", planes, _planes)):
        if len(held) < FEWEST:
            waits.append(Wait(f"pairs_{name}", len(held), FEWEST, "pair"))
        else:
            drawing, more = draw(audit, held)
            figures.append(drawing)
            tables |= more
    return Section(
        {"figures": figures, "n_pairs": len(rows)}, tuple(figures), tables, tuple(waits)
    )


def _dots(table: str) -> alt.Chart:
    return charts.data(table).mark_point(
        filled=True, stroke=charts.PAPER, strokeWidth=0.6
    )


def _signs(audit: AuditTables, x: str, y: str) -> dict[str, Any]:
    words = audit.words
    return {
        "shape": alt.Shape("sign:N", scale=SIGNS, legend=None),
        "color": alt.Color("sign:N", scale=INKS, legend=None),
        "opacity": charts.lit(0.9, 0.15),
        "size": charts.picked_size(62),
        "description": alt.Description("case:N"),
        "tooltip": [
            alt.Tooltip("case:N", title=words("tip.case")),
            alt.Tooltip("day:N", title=words("tip.day")),
            alt.Tooltip(f"{x}:Q", title=words(f"pairs.tip.{x}"), format=".1f"),
            alt.Tooltip(f"{y}:Q", title=words(f"pairs.tip.{y}"), format=".1f"),
            alt.Tooltip("source:N", title=words("tip.source")),
        ],
    }


def _key(audit: AuditTables, rows: list[Row], *more: str) -> tuple[str, ...]:
    if any(row["sign"] == drawn.ON_PURPOSE for row in rows):
        return (*more, audit.words("key.on_purpose"))
    return more


def _angles(audit: AuditTables, rows: list[Row]) -> tuple[Figure, dict[str, Rows]]:
    words = audit.words
    planned = [row["planned_angle_deg"] for row in rows]
    achieved = [row["achieved_angle_deg"] for row in rows]
    proxy = _proxy(audit)
    top = drawn.nice_limit([*achieved, *(row["high"] for row in proxy)], 2)
    right = drawn.nice_limit(planned, 2)
    x = alt.X(
        "planned_angle_deg:Q",
        scale=alt.Scale(domain=[0, right], nice=False),
        axis=charts.x_axis(words("pairs.axis.planned"), tickMinStep=1),
    )
    y = alt.Y(
        "achieved_angle_deg:Q",
        scale=alt.Scale(domain=[0, top], nice=False),
        axis=charts.y_axis(words("pairs.axis.achieved"), tickMinStep=1),
    )
    end = min(top, right)
    line = [{"planned_angle_deg": at, "achieved_angle_deg": at} for at in (0, end)]
    layers = [
        charts.data("pairs_even")
        .mark_line(color=charts.MUTED, strokeDash=[5, 4])
        .encode(x=x, y=y),
        _many_or_dots(audit, rows, x, y),
    ]
    tables: dict[str, Rows] = {"pairs_even": line}
    keys = [words("pairs.key.even")]
    if proxy:
        band = charts.data("pairs_proxy").mark_rect(color=charts.BAND)
        layers.insert(0, band.encode(y=alt.Y("low:Q"), y2=alt.Y2("high:Q")))
        tables["pairs_proxy"] = proxy
        keys.append(words("pairs.key.proxy", band=proxy[0]["text"]))
    if median_of(planned) == 0:
        keys.append(words("pairs.key_more.by_rule"))
    n_undrawn = len(audit.pairs) - len(rows)
    if n_undrawn:
        keys.append(
            words("pairs.key_more.undrawn", pairs=words.count("pair", n_undrawn))
        )
    source, told = drawn.main_source(rows)
    caption = words(
        "pairs.caption.angles",
        pairs=words.counted("pair", len(told), source),
        planned=_median(audit, told, "planned_angle_deg"),
        achieved=_median(audit, told, "achieved_angle_deg"),
        largest=words.value("achieved_angle_deg", max(achieved)),
    )
    drawing = charts.figure(
        "pair-angles",
        alt.layer(*layers),
        Told(
            caption,
            words("pairs.aria.angles", caption=caption),
            words("pairs.title.angles"),
            _key(audit, rows, *keys),
        ),
        width=charts.HALF,
        height=HEIGHT,
    )
    return drawing, tables


def _median(audit: AuditTables, rows: list[Row], name: str) -> str:
    """Return the median of a size in degrees."""
    if not rows:
        return NOT_HELD
    return audit.words.size(
        "achieved_angle_deg", median_of([row[name] for row in rows])
    )


def _proxy(audit: AuditTables) -> list[Row]:
    """Return the published band for the angle between two implants, if one is held."""
    for row in audit.verdicts:
        if row["measure"] == "achieved_angle_deg":
            text = audit.words.interval(
                "achieved_angle_deg", row["band_low"], row["band_high"]
            )
            return [{"low": row["band_low"], "high": row["band_high"], "text": text}]
    return []


def _many_or_dots(audit: AuditTables, rows: list[Row], x: alt.X, y: alt.Y) -> Any:
    if len(rows) >= charts.CROWDED:
        return charts.cells("pairs", x, y, audit.words("tip.count"))
    names = [str(axis.shorthand).partition(":")[0] for axis in (x, y)]
    return _dots("pairs").encode(x=x, y=y, **_signs(audit, *names))


def _planes(audit: AuditTables, rows: list[Row]) -> tuple[Figure, dict[str, Rows]]:
    words = audit.words
    frontal = [row["frontal_convergence_change_deg"] for row in rows]
    sagittal = [row["sagittal_difference_change_deg"] for row in rows]
    reach = drawn.nice_limit([*frontal, *sagittal], 2)
    scale = alt.Scale(domain=[-reach, reach], nice=False)
    across = reach * VIEW[0] / VIEW[1]
    x_scale = alt.Scale(domain=[-across, across], nice=False)
    x = alt.X(
        "frontal_convergence_change_deg:Q",
        scale=x_scale,
        axis=charts.x_axis(words("pairs.axis.frontal"), grid=False),
    )
    y = alt.Y(
        "sagittal_difference_change_deg:Q",
        scale=scale,
        axis=charts.y_axis(words("pairs.axis.sagittal"), grid=False),
    )
    rings = [ring for ring in (reach / 2, reach) if ring >= 1]
    zero = {"color": charts.RULE, "strokeWidth": 1.2}
    layers = [
        charts.data("plane_rings")
        .mark_line(color=charts.RULE, strokeWidth=1)
        .encode(x=x, y=y, detail=alt.Detail("ring:N"), order=alt.Order("turn:Q")),
        charts.data("plane_zero")
        .mark_rule(**zero)
        .encode(x=alt.X("at:Q", scale=x_scale)),
        charts.data("plane_zero")
        .mark_rule(**zero)
        .encode(y=alt.Y("at:Q", scale=scale)),
        charts.data("plane_ends")
        .mark_text(color=charts.MUTED, fontSize=11.5)
        .encode(
            x=alt.X("x:Q", scale=x_scale),
            y=alt.Y("y:Q", scale=scale),
            text=alt.Text("text:N"),
        ),
        _many_or_dots(audit, rows, x, y),
    ]
    tables: dict[str, Rows] = {
        "plane_rings": _circles(rings),
        "plane_zero": [{"at": 0}],
        "plane_ends": [
            {
                "x": -0.7 * across,
                "y": 0.93 * reach,
                "text": words("pairs.end.diverging"),
            },
            {
                "x": 0.7 * across,
                "y": 0.93 * reach,
                "text": words("pairs.end.converging"),
            },
        ],
    }
    source, told = drawn.main_source(rows)
    converging = sum(row["frontal_convergence_change_deg"] > 0 for row in told)
    caption = words(
        "pairs.caption.planes",
        converging=words.n_of(converging, len(told)),
        pairs=words.named(words("count.pair.many"), source),
        frontal=words.value(
            "frontal_convergence_change_deg",
            median_of([row["frontal_convergence_change_deg"] for row in told]),
        ),
        turned=_median(
            audit, drawn.held(told, "pair_rotation_deg"), "pair_rotation_deg"
        ),
    )
    drawing = charts.figure(
        "pair-planes",
        alt.layer(*layers),
        Told(
            caption,
            words("pairs.aria.planes", caption=caption),
            words("pairs.title.planes"),
            _key(audit, rows, words("pairs.key.rings", **_ring_words(audit, rings))),
        ),
        width=charts.HALF,
        height=HEIGHT,
        view=VIEW,
    )
    return drawing, tables


def _ring_words(audit: AuditTables, rings: list[float]) -> dict[str, str]:
    text = [audit.words.value("pair_rotation_deg", ring) for ring in rings]
    return {"inner": text[0], "outer": text[-1]}


def _circles(rings: list[float]) -> list[Row]:
    import math

    turns = [turn * math.pi / 36 for turn in range(73)]
    return [
        {
            "ring": ring,
            "turn": place,
            "frontal_convergence_change_deg": round(ring * math.cos(turn), 4),
            "sagittal_difference_change_deg": round(ring * math.sin(turn), 4),
        }
        for ring in rings
        for place, turn in enumerate(turns)
    ]

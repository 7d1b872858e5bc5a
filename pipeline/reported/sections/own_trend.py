"""A trainee's own cases in their order, figure by figure, with the running scores."""

from __future__ import annotations

from typing import Final

import altair as alt

from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section
from pipeline.reported.sections.in_date_order import INKS, SHAPES
from pipeline.reported.sections.trainee_standing import standing
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures, median_of

HEIGHT: Final = 124
SHOWN: Final = (
    "entry_3d_mm",
    "sagittal_tilt_change_deg",
    "depth_mm",
    "pair_rotation_deg",
)

HOLLOW_IF_TAKEN_OVER: Final = alt.FillOpacityValue(
    1, condition={"test": "datum.is_taken_over", "value": 0}
)


def content(audit: AuditTables) -> Section:
    """Return a strip for each measure, then both scores with their limits."""
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    for name in SHOWN:
        rows = [_point(audit, row) for row in audit.own_trend if _is_shown(row, name)]
        if rows:
            tables[f"own_{name}"] = rows
            figures.append(_strip(audit, measures()[name], rows))
    for chart in ("performance", "learning"):
        rows = [row for row in audit.competence if row["chart"] == chart]
        if rows:
            tables[f"score_{chart}"] = [_score(row) for row in rows]
            figures.append(_scores(audit, chart, rows))
    return Section({"figures": figures}, tuple(figures), tables)


def _is_shown(row: Row, measure: str) -> bool:
    return row["measure"] == measure and row["setting"] == "patient"


def _point(audit: AuditTables, row: Row) -> Row:
    return {
        "case": row["case_key"],
        "number": row["case_number"],
        "value": round(row["value"], 3),
        "sign": "purpose" if row["is_deliberate_change"] else row["side"],
        "is_taken_over": row["is_taken_over"],
        "source": audit.words.sources(row["sources"].replace(",", "")),
    }


def _score(row: Row) -> Row:
    return {
        "case": row["case_key"],
        "number": row["case_number"],
        "value": round(row["score"], 3),
        "limit": round(row["limit"], 3),
        "sign": "failed" if row["has_failed"] else "met",
    }


def _number(rows: Rows) -> alt.Scale:
    last = max(row["number"] for row in rows)
    return alt.Scale(domain=[0.5, last + 0.5], nice=False)


def _x(audit: AuditTables, rows: Rows) -> alt.X:
    last = max(row["number"] for row in rows)
    axis = charts.x_axis(
        audit.words("programme.axis_case"), format="d", tickCount=min(last, 10)
    )
    return alt.X("number:Q", scale=_number(rows), axis=axis)


def _strip(audit: AuditTables, known: Measure, rows: list[Row]) -> Figure:
    words = audit.words
    title = words(
        "strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")
    )
    dots = (
        charts.data(f"own_{known.name}")
        .mark_point(size=52, strokeWidth=1.4)
        .encode(
            x=_x(audit, rows),
            y=alt.Y("value:Q", axis=charts.y_axis(title)),
            shape=alt.Shape("sign:N", scale=SHAPES, legend=None),
            stroke=alt.Stroke("sign:N", scale=INKS, legend=None),
            fill=alt.Fill("sign:N", scale=INKS, legend=None),
            fillOpacity=HOLLOW_IF_TAKEN_OVER,
            opacity=charts.lit(0.95, 0.15),
            tooltip=[
                alt.Tooltip("case:N", title=words("tip.case")),
                alt.Tooltip("value:Q", title=title, format=f".{known.digits}f"),
                alt.Tooltip("source:N", title=words("tip.source")),
            ],
        )
    )
    zero = (
        charts.data(f"own_{known.name}")
        .mark_rule(color=charts.RULE)
        .encode(y=alt.YDatum(0))
    )
    caption = _caption(audit, known, rows)
    band = audit.trainee_bands.get(known.name)
    layers = [zero, dots]
    if band is not None:
        layers = [_band(known, band), *layers]
        caption = f"{caption} {_band_in_words(audit, known, band)}"
    return charts.figure(
        f"own-{known.name.replace('_', '-')}",
        alt.layer(*layers),
        Told(
            caption, words("programme.trend_aria", label=known.label, caption=caption)
        ),
        width=charts.HALF,
        height=HEIGHT,
    )


def _band(known: Measure, band: Row) -> alt.Chart:
    """Return the published means of guides of this kind, as a pale band."""
    low, high = alt.YDatum(band["band_low"]), alt.Y2Datum(band["band_high"])
    return (
        charts.data(f"own_{known.name}")
        .mark_rect(color=charts.BAND)
        .encode(y=low, y2=high)
    )


def _band_in_words(audit: AuditTables, known: Measure, band: Row) -> str:
    words = audit.words
    labels = {row["comparison_set"]: row["label"] for row in audit.comparison_sets}
    return words(
        "programme.band",
        low=words.value(known.name, band["band_low"]),
        high=words.value(known.name, band["band_high"]),
        kind=labels[band["comparison_set"]],
    )


def _caption(audit: AuditTables, known: Measure, rows: list[Row]) -> str:
    """Say how many and the median; figures of different sources share no median."""
    words = audit.words
    noun = "implant" if known.place == "implants" else "pair"
    source, main = drawn.main_source(rows)
    return words(
        "programme.trend_one_source" if source else "programme.trend",
        n=words.count(noun, len(rows)),
        cases=words.count("case", len({row["case"] for row in rows})),
        median=words.value(known.name, median_of([row["value"] for row in main])),
        main=len(main),
        source=source,
    )


def _scores(audit: AuditTables, chart: str, rows: list[Row]) -> Figure:
    words, table = audit.words, f"score_{chart}"
    points = [_score(row) for row in rows]
    top = max(point["limit"] for point in points) * 1.15
    y_scale = alt.Scale(domain=[0, max(top, *(p["value"] for p in points))], nice=False)
    y_title = words(f"programme.score.{chart}")
    y = alt.Y("value:Q", scale=y_scale, axis=charts.y_axis(y_title))
    shapes = alt.Scale(domain=["met", "failed"], range=["circle", "diamond"])
    inks = alt.Scale(domain=["met", "failed"], range=[charts.LEFT, charts.RIGHT])
    base = charts.data(table)
    drawing = alt.layer(
        base.mark_rule(color=charts.FLOOR, strokeDash=[4, 3]).encode(
            y=alt.Y("limit:Q", scale=y_scale)
        ),
        base.mark_line(
            color=charts.MUTED, strokeWidth=1, interpolate="step-after"
        ).encode(x=_x(audit, points), y=y),
        base.mark_point(filled=True, size=58).encode(
            x=_x(audit, points),
            y=y,
            shape=alt.Shape("sign:N", scale=shapes, legend=None),
            color=alt.Color("sign:N", scale=inks, legend=None),
            tooltip=[alt.Tooltip("case:N", title=words("tip.case"))],
        ),
    )
    said = standing(audit, chart, rows)
    caption = f"{said[0].upper()}{said[1:]}."
    return charts.figure(
        f"score-{chart}",
        drawing,
        Told(
            caption,
            words("programme.trend_aria", label=y_title, caption=caption),
            key=(words("programme.score.key"),),
        ),
        width=charts.HALF,
        height=HEIGHT,
    )

"""Each measure as dots: every implant or pair, median and its limits, by source."""

from __future__ import annotations

import altair as alt

from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section, Wait
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures, median_of, whole

FEWEST = 5
"""Implants or pairs a figure takes."""

GOLDEN = 0.6180339887
LANE = 62
MARGIN = 66


def content(audit: AuditTables) -> Section:
    """Return figures of sizes first, then of signed shifts."""
    tables: dict[str, Rows] = {
        "implants": _spread(drawn.implants(audit)),
        "pairs_spread": _spread(drawn.pairs(audit)),
    }
    figures: dict[bool, list[Figure]] = {False: [], True: []}
    waits: list[Wait] = []
    for known in measures().values():
        table = "implants" if known.place == "implants" else "pairs_spread"
        held = drawn.held([dict(row) for row in tables[table]], known.name)
        if len(held) < FEWEST:
            noun = "implant" if known.place == "implants" else "pair"
            waits.append(Wait("distribution", len(held), FEWEST, noun, known.label))
            continue
        drawing, more = _distribution(audit, known, held, table)
        figures[known.is_signed].append(drawing)
        tables |= more
    return Section(
        {"sizes": figures[False], "signed": figures[True]},
        (*figures[False], *figures[True]),
        tables,
        tuple(waits),
    )


def _spread(rows: list[Row]) -> list[Row]:
    """Give each row a height within its lane, the same on every run."""
    return [
        {**row, "height": round((at * GOLDEN) % 1, 3)}
        for at, row in enumerate(sorted(rows, key=lambda row: row["case"]))
    ]


def _distribution(
    audit: AuditTables, known: Measure, held: list[Row], table: str
) -> tuple[Figure, dict[str, Rows]]:
    words = audit.words
    lanes = sorted({row["source"] for row in held})
    medians = [_median(audit, known, held, lane) for lane in lanes]
    values = [row[known.name] for row in held]
    reach = drawn.nice_limit(values, 1 if known.unit == "mm" else 2)
    scale = alt.Scale(domain=[-reach if known.is_signed else 0, reach], nice=False)
    x = alt.X(
        f"{known.name}:Q",
        scale=scale,
        axis=charts.x_axis(
            words(
                "strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")
            )
        ),
    )
    caption = _caption(audit, known, held, lanes)
    middle = f"middle_{known.name}"
    drawing = charts.figure(
        f"spread-{known.name.replace('_', '-')}",
        _layers(audit, known, table, middle, x, many=len(held) > 400),
        Told(
            caption,
            words("distribution.aria", label=known.label, caption=caption),
            known.label,
        ),
        width=charts.HALF,
        height=MARGIN + LANE * len(lanes),
    )
    return drawing, {middle: medians}


def _caption(
    audit: AuditTables, known: Measure, held: list[Row], lanes: list[str]
) -> str:
    """Return one sentence with a median for each source, and how far the values reach."""
    words = audit.words
    noun = "implant" if known.place == "implants" else "pair"
    halves = []
    for lane in lanes:
        values = [row[known.name] for row in held if row["source"] == lane]
        half = words.value(known.name, median_of(values))
        n = words.counted(noun, len(values), lane if len(lanes) > 1 else "")
        halves.append(words("distribution.half", half=half, n=n))
    values = [row[known.name] for row in held]
    reach = words(
        "distribution.signed" if known.is_signed else "distribution.caption",
        halves=", ".join(halves),
        low=words.value(known.name, min(values)),
        high=words.value(known.name, max(values)),
    )
    return " ".join([reach, *_bounds(audit, known, lanes)])


def _bounds(audit: AuditTables, known: Measure, lanes: list[str]) -> list[str]:
    """Say below what 95 % of all implants lie with 95 % confidence, or what it needs.

    No shape is assumed; a measure with a direction has no such bound.
    """
    words = audit.words
    given, needed = [], []
    for lane in lanes:
        found = _summed(audit, known, lane)
        source = lane if len(lanes) > 1 else ""
        if found.get("tolerance_bound") is not None:
            bound = words.value(known.name, found["tolerance_bound"])
            given.append(words.named(bound, source))
        elif found.get("tolerance_n_more"):
            needed.append(words.named(whole(found["tolerance_n_more"]), source))
    nouns = words(f"count.{'implant' if known.place == 'implants' else 'pair'}.many")
    said = []
    if given:
        bounds = ", ".join(given)
        said.append(words("distribution.bound", nouns=nouns, bounds=bounds))
    if needed:
        needs = ", ".join(needed)
        said.append(words("distribution.bound_needs", nouns=nouns, needs=needs))
    return said


def _layers(
    audit: AuditTables, known: Measure, table: str, middle: str, x: alt.X, *, many: bool
) -> alt.LayerChart:
    lane = alt.Y("source:N", axis=alt.Axis(title=None, labels=False, grid=False))
    name_of_lane = {"align": "left", "baseline": "bottom", "fontSize": 11, "dy": -22}
    layers: list[alt.Chart] = [
        charts.data(table)
        .transform_filter(f"isValid(datum.{known.name})")
        .mark_circle(color=charts.LEFT, stroke=charts.PAPER, strokeWidth=0.4)
        .encode(
            x=x,
            y=lane,
            yOffset=alt.YOffset("height:Q", scale=alt.Scale(domain=[-0.9, 1.4])),
            opacity=charts.lit(0.75, 0.12),
            size=charts.picked_size(12 if many else 30),
            description=alt.Description("case:N"),
            tooltip=[
                alt.Tooltip("case:N", title=audit.words("tip.case")),
                alt.Tooltip(
                    f"{known.name}:Q", title=known.label, format=f".{known.digits}f"
                ),
            ],
        ),
        charts.data(middle)
        .mark_rule(color=charts.INK, strokeWidth=2)
        .encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=lane),
        charts.data(middle)
        .mark_tick(color=charts.INK, thickness=2.4, size=20)
        .encode(x=alt.X("median:Q"), y=lane),
        charts.data(middle)
        .mark_text(color=charts.MUTED, **name_of_lane)
        .encode(x=alt.XValue(2), y=lane, text=alt.Text("source:N")),
    ]
    if known.is_signed:
        zero = charts.data(middle).mark_rule(color=charts.MUTED, strokeDash=[2, 3])
        layers.insert(0, zero.encode(x=alt.XDatum(0)))
    return alt.layer(*layers)


def _median(audit: AuditTables, known: Measure, held: list[Row], lane: str) -> Row:
    """Return the median of one source, with its limits where the summary has them."""
    values = [row[known.name] for row in held if row["source"] == lane]
    found = _summed(audit, known, lane)
    return {
        "source": lane,
        "median": found.get("median") or median_of(values),
        "low": found.get("median_low"),
        "high": found.get("median_high"),
    }


def _summed(audit: AuditTables, known: Measure, lane: str) -> Row:
    """Return the summary of one source; empty where the tables hold none."""
    return next(
        (
            row
            for row in audit.accuracy
            if row["measure"] == known.name
            and row["group_by"] in ("overall", "achieved_source")
            and audit.words.sources(row["sources"]) == lane
        ),
        {},
    )

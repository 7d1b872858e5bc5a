"""Guide batch and drill set: deviations by lot of the guide and by uses of the drills."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

import altair as alt

from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section, Wait
from pipeline.reported.sections.in_date_order import FEWEST, INKS, SHAPES
from pipeline.reported.sections.last_cycle import change_in_words
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures, number
from pipeline.summarised.wear import MEASURES

HEIGHT: Final = 190
LANE: Final = 26
MARGIN: Final = 60
MOST_LOTS: Final = 10
"""Lots that are drawn, those of most cases."""

USES_TOLD: Final = 10
"""The change is told for so many uses more: one use moves nothing one could read."""


def content(audit: AuditTables) -> Section | None:
    """Return charts against uses and by lot with their sentences; None without either."""
    worn = {row["case_key"]: row for row in audit.wear}
    if not worn:
        return None
    figures: dict[str, list[Figure]] = {"uses": [], "lots": []}
    tables: dict[str, Rows] = {}
    waits: list[Wait] = []
    for known in (measures()[name] for name in MEASURES):
        rows = _points(audit, known, worn)
        used = [row for row in rows if row["uses"] is not None]
        if len({row["case"] for row in used}) >= FEWEST:
            tables[f"uses_{known.name}"] = used
            figures["uses"].append(_against_uses(audit, known))
        elif used:
            n_cases = len({row["case"] for row in used})
            waits.append(Wait("uses", n_cases, FEWEST, "case", known.label))
        of_lots = _largest_lots(rows)
        if of_lots:
            tables[f"lots_{known.name}"] = of_lots
            figures["lots"].append(_by_lot(audit, known, of_lots))
    lots, untold = _lots(audit)
    return Section(
        {
            "uses": figures["uses"],
            "lots": figures["lots"],
            "lines": lots,
            "untold": untold,
            "has_uses": any(row["drill_set_uses"] is not None for row in audit.wear),
        },
        (*figures["uses"], *figures["lots"]),
        tables,
        tuple(waits),
    )


def _points(audit: AuditTables, known: Measure, worn: dict[str, Row]) -> list[Row]:
    """Return one row an implant or pair that holds the measure, of one source."""
    made = drawn.implants if known.place == "implants" else drawn.pairs
    held = drawn.held(audit.once(made), known.name)
    return [
        {
            "case": row["case"],
            "day": row["day"],
            "sign": row["sign"],
            "value": row[known.name],
            "uses": worn[row["case"]]["drill_set_uses"],
            "lot": worn[row["case"]]["material_lot"],
        }
        for row in drawn.main_source(held)[1]
        if row["case"] in worn
    ]


def _largest_lots(rows: list[Row]) -> list[Row]:
    """Return the rows of the lots with most cases; none where every lot has one case."""
    cases = Counter(
        lot for lot, _ in {(row["lot"], row["case"]) for row in rows if row["lot"]}
    )
    several = sorted(
        (lot for lot, n in cases.items() if n > 1), key=lambda lot: (-cases[lot], lot)
    )
    return [row for row in rows if row["lot"] in several[:MOST_LOTS]]


def _dots(audit: AuditTables, known: Measure, table: str, x: alt.X, y: alt.Y) -> Any:
    words = audit.words
    title = f"{known.label}, {words(f'axis_unit.{known.unit}')}"
    return (
        charts.data(table)
        .mark_point(filled=True)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("sign:N", scale=SHAPES, legend=None),
            color=alt.Color("sign:N", scale=INKS, legend=None),
            opacity=charts.lit(0.9, 0.15),
            size=charts.picked_size(46),
            description=alt.Description("case:N"),
            tooltip=[
                alt.Tooltip("case:N", title=words("tip.case")),
                alt.Tooltip("day:N", title=words("tip.day")),
                alt.Tooltip("value:Q", title=title, format=f".{known.digits}f"),
            ],
        )
    )


def _figure(
    audit: AuditTables, known: Measure, what: str, chart: Any, caption: str, height: int
) -> Figure:
    words = audit.words
    key = "pairs" if known.place == "pairs" else "implants"
    return charts.figure(
        f"{what}-{known.name.replace('_', '-')}",
        chart,
        Told(
            caption,
            words(f"wear.aria.{what}", label=known.label, caption=caption),
            known.label,
            (words(f"wear.key.{key}"),),
        ),
        width=charts.HALF,
        height=height,
    )


def _against_uses(audit: AuditTables, known: Measure) -> Figure:
    words = audit.words
    x = alt.X(
        "uses:Q", axis=charts.x_axis(words("wear.axis.uses"), format="d", tickMinStep=1)
    )
    axis = words("strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}"))
    y = alt.Y("value:Q", axis=charts.y_axis(axis))
    chart = _dots(audit, known, f"uses_{known.name}", x, y)
    return _figure(audit, known, "uses", chart, _slope(audit, known), HEIGHT)


def _slope(audit: AuditTables, known: Measure) -> str:
    """Say how the measure goes with the uses, and whether chance explains it."""
    words = audit.words
    row = next(
        (row for row in audit.against_uses if row["measure"] == known.name), None
    )
    if row is None or row["slope_low"] is None:
        return words("wear.slope_too_few")
    ends = [USES_TOLD * row[name] for name in ("slope", "slope_low", "slope_high")]
    is_told = not ends[1] <= 0 <= ends[2]
    return words(
        "wear.slope_told" if is_told else "wear.slope_not_told",
        patients=words.count("patient", row["n_patients"]),
        uses=USES_TOLD,
        change=_signed(audit, known, ends[0]),
        interval=words(
            "number.interval",
            low=_signed(audit, known, ends[1]),
            high=_signed(audit, known, ends[2]),
        ),
    )


def _signed(audit: AuditTables, known: Measure, amount: float) -> str:
    """Return a change with its sign and unit; errors have none of their own."""
    amount_said = number(amount, known.digits, is_signed=True)
    return amount_said + audit.words.unit(known.unit)


def _by_lot(audit: AuditTables, known: Measure, rows: list[Row]) -> Figure:
    words = audit.words
    lots = dict.fromkeys(row["lot"] for row in rows)
    axis = words("strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}"))
    x = alt.X("value:Q", axis=charts.x_axis(axis))
    y = alt.Y("lot:N", axis=alt.Axis(title=None), sort=sorted(lots))
    chart = _dots(audit, known, f"lots_{known.name}", x, y)
    caption = words(
        "wear.lots_caption",
        lots=len(lots),
        cases=words.count("case", len({row["case"] for row in rows})),
    )
    return _figure(audit, known, "lots", chart, caption, MARGIN + LANE * len(lots))


def _lots(audit: AuditTables) -> tuple[list[Row], int]:
    """Return a line for each lot of enough patients, and how many lots have too few."""
    words = audit.words
    told = [row for row in audit.by_lot if row["low"] is not None]
    lines = [
        {
            "lot": row["material_lot"],
            "measure": measures()[row["measure"]].label,
            "n": words.count("patient", row["n_patients"]),
            "mean": words.value(row["measure"], row["mean"]),
            "interval": words.interval(row["measure"], row["low"], row["high"]),
            "change": change_in_words(audit, row),
        }
        for row in told
    ]
    every = {row["material_lot"] for row in audit.by_lot}
    return lines, len(every - {row["material_lot"] for row in told})

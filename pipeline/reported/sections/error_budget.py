"""Is it the guide or the hand: what both implants did together, what each by itself."""

from __future__ import annotations

from typing import Any, Final

import altair as alt

from pipeline.reported import charts, guide_slice
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Told
from pipeline.reported.section import Section, Wait
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number, percent
from pipeline.statistics.budget import ENOUGH_PAIRS, FEWEST_PAIRS

DIVIDED: Final = ("left_right", "depth", "frontal_lean", "sagittal_lean")
"""Components that are drawn divided; facial position follows, undivided."""
UNDIVIDED: Final = "facial_position"
COLOURS: Final = {
    "together": charts.LEFT,
    "beyond": charts.LEFT,
    "superimposed": "#8fb4c4",
    "own": charts.RIGHT,
    "reading": "#ecc48f",
    "undivided": "#c9d0d3",
    "lab": charts.FLOOR,
    "clinical": charts.BAND,
    "not_known": charts.PAPER,
}
DARK: Final = ("together", "beyond")
"""Parts whose colour takes a white figure."""
LEAST_LABELLED: Final = 0.09
"""A narrower part carries no figure."""
LEVEL: Final = 0.05
LEAST_P: Final = 0.001
TABLE: Final = "budget_parts"
ROW_HEIGHT: Final = 38


def content(audit: AuditTables) -> Section | None:
    """Return the picture with its sentence, or what it waits for."""
    shares = {row["component"]: row for row in audit.common_share}
    influence = _influence(audit)
    if "overall" not in shares and not influence["lines"]:
        return None
    overall = shares.get("overall", {})
    waits: tuple[Wait, ...] = ()
    if overall and overall["share"] is None:
        waits = (Wait("budget", overall["n_pairs"], FEWEST_PAIRS, "pair"),)
    if not overall or overall["share"] is None:
        return Section({"budget": None, "influence": influence}, waits=waits)
    parts = {(row["component"], row["part"]): row for row in audit.error_budget}
    bars = _bars(audit, parts)
    drawing = _drawing(audit, bars, overall)
    budget = {
        "drawing": drawing,
        "caution": overall["n_pairs"] < ENOUGH_PAIRS,
        "sentence": _sentence(audit, overall),
        "beyond": _beyond(audit, overall),
        "test": _test(audit, overall),
        "lines": [_line(audit, name, parts) for name in (*DIVIDED, UNDIVIDED)],
        "bias": _bias(audit),
        "guide": guide_slice.sentences(audit),
        "pairs": audit.words(
            "budget.pairs",
            used=audit.words.count("pair", overall["n_pairs"]),
            cases=audit.words.count("case", overall["n_cases"]),
            sources=audit.words.sources(overall["sources"]),
        ),
        "enough": ENOUGH_PAIRS,
        "note": overall["note"],
    }
    return Section(
        {"budget": budget, "influence": influence},
        figures=(drawing,),
        tables={TABLE: bars},
        waits=waits,
    )


def _sentence(audit: AuditTables, overall: Row) -> str:
    """Say what the picture says, in one sentence."""
    low, high = overall["share_low"], overall["share_high"]
    ends = audit.words.percent_interval(low, high)
    if overall["p"] < LEVEL:
        return audit.words(
            "budget.together", share=percent(overall["share"]), interval=ends
        )
    return audit.words("budget.not_told", interval=ends)


def _beyond(audit: AuditTables, overall: Row) -> str:
    """Say what is left when the superimposition's expected part is taken off."""
    if overall["beyond_share"] is None:
        return audit.words("budget.error_unknown")
    return audit.words(
        "budget.beyond",
        share=percent(overall["beyond_share"]),
        interval=audit.words.percent_interval(
            overall["beyond_low"], overall["beyond_high"]
        ),
    )


def _test(audit: AuditTables, overall: Row) -> str:
    return audit.words(
        "budget.test",
        seen=percent(overall["seen_share"]),
        chance=percent(overall["null_share"]),
        p=_chance(audit, overall["p"]),
    )


def _chance(audit: AuditTables, p: float) -> str:
    """Return ``p = 0.03``, or that it lies below what is worth printing."""
    if p < LEAST_P:
        return audit.words("budget.p_below", p=number(LEAST_P, 3))
    return audit.words("budget.p", p=number(p, 2 if p >= LEVEL else 3))


def _stack(
    parts: dict[tuple[str, str], Row], component: str
) -> list[tuple[str, float]]:
    """Return the parts of a component with their variances."""

    def variance(part: str) -> float | None:
        row = parts.get((component, part))
        return None if row is None else float(row["sd"]) ** 2

    together, own = variance("common") or 0.0, variance("own") or 0.0
    read, superimposed = variance("reading"), variance("registration")
    read = min(read or 0.0, own)
    if superimposed is None:
        return [("together", together), ("own", own - read), ("reading", read)]
    superimposed = min(superimposed, together)
    return [
        ("beyond", together - superimposed),
        ("superimposed", superimposed),
        ("own", own - read),
        ("reading", read),
    ]


def _bars(audit: AuditTables, parts: dict[tuple[str, str], Row]) -> list[Row]:
    """Return one row for each part of each bar: where it starts and ends."""
    lanes = [(_lane(audit, name), _stack(parts, name)) for name in DIVIDED]
    lanes += [(_lane(audit, UNDIVIDED), [("undivided", 1.0)])]
    bars: list[Row] = []
    for lane, stack in (*lanes, *guide_slice.stacks(audit)):
        whole = sum(variance for _, variance in stack)
        at = 0.0
        for part, variance in stack:
            share = variance / whole if whole > 0 else 0.0
            if share > 0:
                bars.append(_bar(audit, lane, part, at, share))
            at += share
    return bars


def _lane(audit: AuditTables, component: str) -> str:
    return audit.words(f"budget.component.{component}")


def _bar(audit: AuditTables, lane: str, part: str, at: float, share: float) -> Row:
    label = "" if share < LEAST_LABELLED else percent(share)
    if part in ("undivided", "not_known"):
        label = audit.words(f"budget.whole.{part}")
    return {
        "component": lane,
        "part": audit.words(f"budget.part.{part}"),
        "colour": COLOURS[part],
        "start": round(at, 4),
        "end": round(at + share, 4),
        "middle": round(at + share / 2, 4),
        "label": label,
        "ink": charts.PAPER if part in DARK else charts.INK,
    }


def _drawing(audit: AuditTables, bars: list[Row], overall: Row) -> Figure:
    words = audit.words
    order = list(dict.fromkeys(bar["component"] for bar in bars))
    lane = alt.Y("component:N", sort=order, axis=alt.Axis(title=None, grid=False))
    x = alt.X(
        "start:Q",
        scale=alt.Scale(domain=[0, 1]),
        axis=charts.x_axis(words("budget.axis"), format=".0%"),
    )
    layers = [
        charts.data(TABLE)
        .mark_bar(height=24, stroke=charts.PAPER, strokeWidth=1.5)
        .encode(
            x=x,
            x2=alt.X2("end:Q"),
            y=lane,
            color=alt.Color("colour:N", scale=None, legend=None),
            tooltip=[
                alt.Tooltip("component:N", title=words("budget.tip.component")),
                alt.Tooltip("part:N", title=words("budget.tip.part")),
                alt.Tooltip("label:N", title=words("budget.tip.share")),
            ],
        ),
        charts.data(TABLE)
        .mark_text(fontSize=12)
        .encode(
            x=alt.X("middle:Q"),
            y=lane,
            text=alt.Text("label:N"),
            color=alt.Color("ink:N", scale=None, legend=None),
        ),
    ]
    sentence = _sentence(audit, overall)
    return charts.figure(
        "error-budget",
        alt.layer(*layers),
        Told(
            sentence,
            words("budget.aria", caption=sentence),
            words("budget.title"),
            key=tuple(_key(audit, bars)),
        ),
        width=charts.FULL,
        height=60 + ROW_HEIGHT * len(order),
    )


def _key(audit: AuditTables, bars: list[Row]) -> list[str]:
    """Say what the parts are, from left to right."""
    shown = {bar["part"] for bar in bars}
    names = [audit.words(f"budget.part.{part}") for part in COLOURS]
    signs = [audit.words(f"budget.key.{part}") for part in COLOURS]
    return [sign for name, sign in zip(names, signs, strict=True) if name in shown]


def _line(
    audit: AuditTables, component: str, parts: dict[tuple[str, str], Row]
) -> dict[str, Any]:
    """Return one line of the table of figures."""
    together = "undivided" if component == UNDIVIDED else "common"
    unit = audit.words(f"axis_unit.{parts[(component, together)]['unit']}")

    def shown(part: str, *, is_signed: bool = False) -> str:
        row = parts.get((component, part))
        if row is None:
            return number(None)
        text = number(row["sd"], 2, is_signed=is_signed)
        if row["low"] is None:
            return text
        ends = audit.words(
            "number.interval",
            low=number(row["low"], 2, is_signed=is_signed),
            high=number(row["high"], 2, is_signed=is_signed),
        )
        return f"{text} ({ends})"

    return {
        "component": _lane(audit, component),
        "unit": unit,
        "bias": shown("bias", is_signed=True),
        "together": shown(together),
        "superimposed": shown("registration"),
        "own": shown("own"),
        "reading": shown("reading"),
        "is_undivided": component == UNDIVIDED,
    }


def _bias(audit: AuditTables) -> list[str]:
    """Say for each signed vector whether chance explains its mean."""
    lines = []
    for row in audit.bias:
        if row["p"] is None:
            continue
        digits = 1
        lines.append(
            audit.words(
                "budget.bias.seen" if row["p"] < LEVEL else "budget.bias.not_seen",
                what=audit.words(f"budget.vector.{row['vector']}"),
                size=number(row["size"], digits) + audit.words.unit(row["unit"]),
                p=_chance(audit, row["p"]),
                patients=audit.words.count("patient", row["n_patients"]),
            )
        )
    return lines


def _influence(audit: AuditTables) -> dict[str, Any]:
    """Return "without case X" for the primary measures, and what is flagged."""
    lines, flagged = [], []
    for row in audit.influence:
        known = measures()[row["measure"]]
        if row["kind"] == "mean" and (known.is_primary or row["is_flagged"]):
            lines.append(
                {
                    "case": row["case_key"],
                    "what": known.label,
                    "mean": audit.words.value(known.name, row["mean"]),
                    "without": audit.words.value(known.name, row["mean_without"]),
                    "is_unusual": row["is_flagged"],
                }
            )
        elif row["is_flagged"]:
            subject = row["subject"] if row["kind"] == "criterion" else known.label
            flagged.append(
                {"case": row["case_key"], "what": subject, "why": row["reason"]}
            )
    return {"lines": lines, "flagged": flagged}

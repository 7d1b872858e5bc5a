"""Change over time: run chart, control charts, before and after each action."""

from __future__ import annotations

import altair as alt

from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.section import Section
from pipeline.reported.sections.in_date_order import FEWEST
from pipeline.reported.sections.last_cycle import change_in_words, ratio_in_words
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures
from pipeline.statistics.control_charts import FEWEST_FOR_RULES

HEIGHT = 200


def content(audit: AuditTables) -> Section | None:
    """Return a chart a primary measure and the table of actions; None with too few."""
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    for name, rules in audit.run_charts.items():
        points = [row for row in audit.control_chart if row["measure"] == name]
        if len(points) < FEWEST:
            continue
        rows = [_point(audit, row, rules) for row in points]
        tables[f"over_time_{name}"] = rows
        figures.append(_drawing(audit, measures()[name], rows, rules))
    if not figures:
        return None
    lines = [_action(audit, row) for row in audit.around_actions]
    return Section({"figures": figures, "lines": lines}, tuple(figures), tables)


def _point(audit: AuditTables, row: Row, rules: Row) -> Row:
    names = ("case_mean", "low", "high", "ewma", "ewma_low", "ewma_high")
    return {
        "case": row["case_key"],
        "day": audit.words.day(row["surgery_date"]),
        "place": row["case_number"],
        "is_outside": bool(row["is_outside"]),
        "is_drift": bool(row["is_drift"]),
        "median": rules["median"],
        **{name: row[name] for name in names},
    }


def _drawing(audit: AuditTables, known: Measure, rows: list[Row], rules: Row) -> Figure:
    words, table = audit.words, f"over_time_{known.name}"
    title = words(
        "over_time.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")
    )
    x = alt.X("place:Q", axis=charts.x_axis(words("over_time.tip_case"), tickMinStep=1))

    def y(field: str) -> alt.Y:
        return alt.Y(f"{field}:Q", axis=charts.y_axis(title))

    later = charts.data(table).transform_filter("datum.ewma !== null")
    layers = [
        charts.data(table)
        .mark_line(color=charts.MUTED, strokeWidth=1)
        .encode(x=x, y=y("median"))
    ]
    has_limits = rows[-1]["ewma"] is not None
    if has_limits:
        layers = [
            later.mark_area(color=charts.BAND).encode(
                x=x, y=y("ewma_low"), y2=alt.Y2("ewma_high:Q")
            ),
            *layers,
            *(
                charts.data(table)
                .mark_line(color=charts.FLOOR, strokeDash=[4, 3], strokeWidth=1)
                .encode(x=x, y=y(end))
                for end in ("low", "high")
            ),
            later.mark_line(color=charts.INK, strokeWidth=2).encode(x=x, y=y("ewma")),
        ]
    dots = (
        charts.data(table)
        .mark_point(filled=True, color=charts.PAIR)
        .encode(
            x=x,
            y=y("case_mean"),
            opacity=charts.lit(0.95, 0.15),
            size=charts.picked_size(46),
            description=alt.Description("case:N"),
            tooltip=[
                alt.Tooltip("case:N", title=words("tip.case")),
                alt.Tooltip("day:N", title=words("tip.day")),
                alt.Tooltip("case_mean:Q", title=title, format=f".{known.digits}f"),
            ],
        )
    )
    key = [words("over_time.median")]
    if has_limits:
        key.append(words("over_time.limits", n=rules["n_baseline"]))
    caption = _caption(audit, known, rows, rules)
    return charts.figure(
        f"over-time-{known.name.replace('_', '-')}",
        alt.layer(*layers, dots),
        Told(
            caption,
            words("over_time.aria", label=known.label, caption=caption),
            title=known.label,
            key=tuple(key),
        ),
        width=charts.FULL,
        height=HEIGHT,
    )


def _caption(audit: AuditTables, known: Measure, rows: list[Row], rules: Row) -> str:
    words = audit.words
    if rules["longest_allowed"] is None:
        read = words("over_time.rules_few", n=FEWEST_FOR_RULES)
    else:
        is_seen = rules["is_shift"] or rules["is_few_crossings"]
        read = words(
            "over_time.rules_seen" if is_seen else "over_time.rules_none",
            run=rules["longest_run"],
            most=rules["longest_allowed"],
            crossings=rules["crossings"],
            fewest=rules["fewest_allowed"],
        )
    later = [row for row in rows if row["ewma"] is not None]
    control = words("over_time.control_few", n=rules["n_baseline"])
    if later:
        control = words(
            "over_time.control",
            n=len(later),
            outside=sum(row["is_outside"] for row in later),
            drift=sum(row["is_drift"] for row in later),
        )
    said = words(
        "over_time.caption",
        cases=words.count("case", rules["n_cases"]),
        median=words.value(known.name, rules["median"]),
        rules=read,
        control=control,
    )
    if rules["n_undated"]:
        undated = words.count("case", rules["n_undated"])
        said += " " + words("over_time.undated", n=undated)
    return said


def _action(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    day = words("actions.done_on", day=words.day(row["done_date"]))
    return {
        "action": f"{row['action']} ({day})",
        "measure": measures()[row["measure"]].label,
        "before": _side(audit, row, "before"),
        "after": _side(audit, row, "after"),
        "change": change_in_words(audit, row),
        "ratio": ratio_in_words(audit, row),
    }


def _side(audit: AuditTables, row: Row, side: str) -> str:
    words, name = audit.words, row["measure"]
    noun = "implant" if measures()[name].place == "implants" else "pair"
    counted = words(
        "last_cycle.counted",
        n=words.count(noun, row[f"n_implants_{side}"]),
        patients=words.count("patient", row[f"n_patients_{side}"]),
    )
    return words(
        "last_cycle.mean", mean=words.value(name, row[f"mean_{side}"]), interval=counted
    )

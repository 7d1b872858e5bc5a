"""Change over time: summarised.control_chart, .run_chart and .around_actions.

One value a case, the mean of its implants, in the order of surgery. Only the two primary
measures are charted: each further chart would be one more chance of a false signal.
Cases without a day of surgery have no place in the order and are left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.statistics.change import change_of_mean, ratio_of_means
from pipeline.statistics.control_charts import BASELINE, control_chart, run_chart
from pipeline.statistics.means import ClusteredMean, clustered_mean
from pipeline.summarised.values import Audited, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

CHART = "summarised.control_chart"
RULES = "summarised.run_chart"
ACTIONS = "summarised.around_actions"
Row = dict[str, Any]


@makes(
    CHART,
    RULES,
    ACTIONS,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.actions",
    ),
)
def make_control_charts(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make the three tables. Grain: measure, case; measure; action, measure."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    actions = warehouse.frame(
        "select action, role, try_cast(done_date as date) as done_day"
        " from reference.actions where try_cast(done_date as date) is not null"
        " order by done_day, action"
    ).to_dict("records")
    points: list[Row] = []
    rules: list[Row] = []
    around: list[Row] = []
    for measure in measures():
        if not (measure.is_primary and measure.is_error):
            continue
        values = audited.of(measure)
        dated = values.where(values.rows["surgery_date"].notna().to_numpy())
        cases = _cases(dated)
        points += _points(dated, cases)
        rules.append(_rules(dated, cases, values.n_cases))
        for number, action in enumerate(actions, start=1):
            around.append({"action_number": number} | _around(dated, action))
    write_rows(warehouse, CHART, points)
    write_rows(warehouse, RULES, rules)
    write_rows(warehouse, ACTIONS, around)


def _cases(values: Values) -> pd.DataFrame:
    """Return one row a case in date order: day, mean, number of implants."""
    return (
        values.rows.groupby(["surgery_date", "case_key"], as_index=False)
        .agg(case_mean=("value", "mean"), n_implants=("value", "size"))
        .sort_values(["surgery_date", "case_key"], ignore_index=True)
    )


def _points(values: Values, cases: pd.DataFrame) -> Iterator[Row]:
    chart = control_chart(cases["case_mean"].to_numpy())
    for at, case in enumerate(cases.to_dict("records")):
        row: Row = {
            "measure": values.measure.measure,
            **{str(name): value for name, value in case.items()},
            "case_number": at + 1,
            "is_baseline": at < BASELINE,
        }
        if chart is not None:
            later = at - BASELINE
            row |= {"low": chart.low, "high": chart.high}
            if later >= 0:
                row |= {
                    "is_outside": bool(chart.is_outside[later]),
                    "ewma": float(chart.ewma[later]),
                    "ewma_low": float(chart.ewma_low[later]),
                    "ewma_high": float(chart.ewma_high[later]),
                    "is_drift": bool(chart.is_drift[later]),
                }
        yield row


def _rules(values: Values, cases: pd.DataFrame, n_cases: int) -> Row:
    found = run_chart(cases["case_mean"].to_numpy())
    return {
        "measure": values.measure.measure,
        "sources": values.sources,
        "n_cases": found.n_values,
        "n_undated": n_cases - found.n_values,
        "n_useful": found.n_useful,
        "median": found.median,
        "longest_run": found.longest_run,
        "longest_allowed": found.longest_allowed,
        "crossings": found.crossings,
        "fewest_allowed": found.fewest_allowed,
        "is_shift": found.is_shift,
        "is_few_crossings": found.is_few_crossings,
        "n_baseline": BASELINE,
    }


def _around(values: Values, action: Mapping[Any, Any]) -> Row:
    """Return the mean of the cases before an action was done, of those from that day on."""
    import pandas as pd

    done = pd.Timestamp(action["done_day"])
    is_after = (pd.to_datetime(values.rows["surgery_date"]) >= done).to_numpy()
    sides = {"after": values.where(is_after), "before": values.where(~is_after)}
    means: dict[str, ClusteredMean] = {
        side: clustered_mean(part.numbers, part.patients)
        for side, part in sides.items()
    }
    change = change_of_mean(means["after"], means["before"])
    ratio = ratio_of_means(means["after"], means["before"])
    row: Row = {
        "measure": values.measure.measure,
        "action": action["action"],
        "role": action["role"] or None,
        "done_date": _day(done),
        "change": change.value,
        "change_low": change.low,
        "change_high": change.high,
        "ratio": ratio.value,
        "ratio_low": ratio.low,
        "ratio_high": ratio.high,
        "note": change.warning,
    }
    for side, mean in means.items():
        row |= {
            f"n_patients_{side}": mean.n_clusters,
            f"n_implants_{side}": mean.n_values,
            f"mean_{side}": mean.mean,
            f"low_{side}": mean.low,
            f"high_{side}": mean.high,
        }
    return row


def _day(moment: pd.Timestamp) -> date:
    return date(moment.year, moment.month, moment.day)

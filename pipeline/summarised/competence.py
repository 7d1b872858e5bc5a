"""summarised.competence: each trainee's own cases against the clinic's signed criteria.

Cases stand in the order of surgery, those taken over by somebody else included; bench cases
are never judged with patients. One page of figures
is no ground by itself for a decision about a person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from pipeline.own_limits import Programme
from pipeline.statistics.monitoring import (
    Chart,
    Rates,
    learning_chart,
    performance_chart,
    run_chart,
    too_few_planned,
)
from pipeline.summarised.judged_cases import TABLE as JUDGED
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

SCORES: Final = "summarised.competence"
LIMITS: Final = "summarised.competence_limits"
FEWEST_JUDGED: Final = 10
"""With fewer cases a score finds a doubled failure rate less than half of the time."""

CHARTS: Final[Mapping[str, Callable[[Rates], Chart]]] = {
    "performance": performance_chart,
    "learning": learning_chart,
}


@makes(
    SCORES,
    LIMITS,
    reads=("summarised.trainee_cases", JUDGED),
)
def make_competence(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make both tables. Grain: chart, trainee, case; and chart.

    Without trainees both are empty: to reckon the limits takes half a second.
    """
    if not warehouse.value("select count(*) from summarised.trainee_cases"):
        write_rows(warehouse, LIMITS, [])
        write_rows(warehouse, SCORES, [])
        return
    rates = _rates(parameters["settings"].programme)
    charts = {name: _chart_or_none(name, rates) for name in CHARTS}
    write_rows(
        warehouse, LIMITS, [_limits(name, rates, charts[name]) for name in CHARTS]
    )
    rows: list[dict[str, Any]] = []
    for trainee_code, cases in _judged(warehouse):
        for name, chart in charts.items():
            if chart is not None:
                rows += _scores(name, chart, trainee_code, cases)
    write_rows(warehouse, SCORES, rows)


def _rates(programme: Programme) -> Rates:
    return Rates(
        programme.acceptable_percent / 100,
        programme.unacceptable_percent / 100,
        int(programme.planned_cases),
        programme.false_signal_percent / 100,
    )


def _chart_or_none(name: str, rates: Rates) -> Chart | None:
    if name == "learning" and too_few_planned(rates) is not None:
        return None
    return CHARTS[name](rates)


def _limits(name: str, rates: Rates, chart: Chart | None) -> dict[str, Any]:
    row: dict[str, Any] = {
        "chart": name,
        "acceptable_share": rates.acceptable,
        "unacceptable_share": rates.unacceptable,
        "n_planned": rates.n_planned,
    }
    if chart is None:
        needed = too_few_planned(rates)
        note = f"even without one failure {needed} cases are needed; {rates.n_planned} are planned"
        return {**row, "least_cases": needed, "note": note}
    return row | {
        "limit": chart.limit,
        "step_up": chart.rises,
        "step_down": chart.falls,
        "false_alarm": chart.false_alarm,
        "power": chart.power,
        "cases_to_false_signal": chart.cases_to_false_signal,
        "cases_to_signal": chart.cases_to_signal,
        "least_cases": chart.least_cases,
    }


def _judged(warehouse: Warehouse) -> Iterator[tuple[str, list[dict[Any, Any]]]]:
    """Yield each trainee's own cases that a signed criterion judges, in their order."""
    own = warehouse.frame(
        "select t.trainee_code, t.case_key, t.case_number, j.has_failed"
        " from summarised.trainee_cases as t"
        f" inner join {JUDGED} as j on t.case_key = j.case_key"
        " where t.setting = 'patient' and t.case_number is not null"
        " order by t.trainee_code, t.case_number"
    )
    for trainee_code, cases in own.groupby("trainee_code"):
        yield str(trainee_code), cases.drop(columns="trainee_code").to_dict("records")


def _scores(
    name: str, chart: Chart, trainee_code: str, cases: list[dict[Any, Any]]
) -> Iterator[dict[str, Any]]:
    points = run_chart(chart, [case["has_failed"] for case in cases])
    for n_judged, (case, point) in enumerate(zip(cases, points, strict=True), start=1):
        yield {
            "chart": name,
            "trainee_code": trainee_code,
            **case,
            "n_judged": n_judged,
            "score": point.score,
            "limit": chart.limit,
            "is_signal": point.is_signal,
            "is_too_few": n_judged < FEWEST_JUDGED,
        }

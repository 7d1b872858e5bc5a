"""summarised.competence: each trainee's own cases against the clinic's signed criteria.

A case fails when one of its implants, or its pair, misses a signed criterion; what departed
from the plan on purpose is not judged. Cases stand in the order of surgery, those taken over
by somebody else included; bench cases are never judged with patients. One page of figures
is no ground by itself for a decision about a person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from pipeline.own_limits import Programme
from pipeline.reference import load
from pipeline.statistics.monitoring import (
    Chart,
    Rates,
    learning_chart,
    performance_chart,
    run_chart,
    too_few_planned,
)
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse, named

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
    reads=(
        "summarised.trainee_cases",
        "measured.cases",
        "measured.implants",
        "measured.pairs",
        "reference.criteria",
    ),
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


def _judged(warehouse: Warehouse) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Yield each trainee's own cases that a signed criterion judges, in their order."""
    failed: dict[str, bool] = {}
    signed = warehouse.frame("select * from reference.criteria where signed_by <> ''")
    for criterion in signed.to_dict("records"):
        for case_key, has_failed in _judged_by(warehouse, criterion):
            failed[case_key] = failed.get(case_key, False) or has_failed
    own: dict[str, list[dict[str, Any]]] = {}
    for trainee_code, case_key, case_number in warehouse.run(
        "select trainee_code, case_key, case_number from summarised.trainee_cases"
        " where setting = 'patient' and case_number is not null"
        " order by trainee_code, case_number"
    ):
        if case_key in failed:
            own.setdefault(trainee_code, []).append(
                {
                    "case_key": case_key,
                    "case_number": case_number,
                    "has_failed": failed[case_key],
                }
            )
    yield from own.items()


def _judged_by(
    warehouse: Warehouse, criterion: Mapping[Any, Any]
) -> list[tuple[str, bool]]:
    """Return (case, missed) for each case the criterion speaks of."""
    measure = next(
        row for row in load.rows("measures") if row["measure"] == criterion["measure"]
    )
    implants, column = measure["place"] == "implants", named(measure["measure"])
    source = f"measured.{named(measure['place'])}"
    kept = "m.is_preferred" + (
        " and m.part = 'pair' and not m.is_deliberate_change" if implants else ""
    )
    group_by, wanted = criterion["group_by"], criterion["group_value"]
    if group_by not in {"", "overall"}:
        kept += f" and {_group(warehouse, source, group_by)} = $group_value"
    else:
        wanted = ""
    return warehouse.run(
        f"select m.case_key, bool_or(abs(m.{column}) > $limit) from {source} as m"
        f" inner join measured.cases as c on m.case_key = c.case_key"
        f" where {kept} and m.{column} is not null and $group_value is not null"
        " group by m.case_key order by m.case_key",
        {"limit": float(criterion["limit"]), "group_value": wanted},
    )


def _group(warehouse: Warehouse, source: str, column: str) -> str:
    of_source = {name for name, _ in warehouse.columns(source)}
    return f"{'m' if column in of_source else 'c'}.{named(column)}"


def _scores(
    name: str, chart: Chart, trainee_code: str, cases: list[dict[str, Any]]
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

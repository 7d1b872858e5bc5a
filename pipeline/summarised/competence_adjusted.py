"""summarised.competence_adjusted: the score of failed cases, allowing for hard cases.

Each trainee's own cases against what the programme's own trainees came to in cases as
hard. So it asks whether one is unlike the programme; whether the programme is as good as
the criteria ask stands in summarised.competence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.learning import Covariate
from pipeline.statistics.risk_adjusted import (
    CaseMix,
    adjusted_limit,
    case_mix,
    run_adjusted,
    weights,
)
from pipeline.summarised.judged_cases import TABLE as JUDGED
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.own_limits import Programme

TABLE: Final = "summarised.competence_adjusted"

CASES: Final = f"""
select
    t.trainee_code, t.case_key, t.case_number, j.has_failed,
    c.bone_height_mm, c.mucosa_thickness_mm,
    case when c.guidance <> 'not known' then (c.guidance = 'full')::double end as guidance
from summarised.trainee_cases as t
inner join {JUDGED} as j on t.case_key = j.case_key
inner join measured.cases as c on t.case_key = c.case_key
where t.setting = 'patient' and t.case_number is not null
order by t.trainee_code, t.case_number"""

COVARIATES: Final = ("bone_height_mm", "guidance", "mucosa_thickness_mm")
"""What makes a case hard, the most wanted first."""


@makes(TABLE, reads=("summarised.trainee_cases", JUDGED, "measured.cases"))
def make_competence_adjusted(
    warehouse: Warehouse, parameters: Mapping[str, Any]
) -> None:
    """Make summarised.competence_adjusted. Grain: trainee, case; judged cases only."""
    cases = warehouse.frame(CASES)
    mix = case_mix(
        cases["has_failed"].to_numpy(dtype=np.float64),
        [
            Covariate(name, cases[name].to_numpy(dtype=np.float64, na_value=np.nan))
            for name in COVARIATES
        ],
    )
    programme = parameters["settings"].programme
    rows: list[dict[str, Any]] = []
    if mix.why_not is None:
        cases["expected_risk"] = mix.risks
    for _, own in cases.groupby("trainee_code"):
        rows += _scores(mix, programme, own)
    write_rows(warehouse, TABLE, rows)


def _scores(
    mix: CaseMix, programme: Programme, own: pd.DataFrame
) -> Iterator[dict[str, Any]]:
    """Yield the rows of one trainee, in the order of the cases."""
    cases: list[dict[Any, Any]] = own.to_dict("records")
    said: dict[str, Any] = {
        "odds_ratio": _odds_ratio(programme),
        "covariates": "|".join(mix.covariates),
        "n_cases_in_model": mix.n_cases,
        "n_failed_in_model": mix.n_failed,
    }
    if mix.why_not is not None:
        yield from ({**case, **said, "why_not": mix.why_not} for case in cases)
        return
    risks = own["expected_risk"].to_numpy(dtype=np.float64)
    planned = int(programme.planned_cases)
    found = adjusted_limit(
        np.resize(risks, planned),
        said["odds_ratio"],
        programme.false_signal_percent / 100,
    )
    if found is None:
        why = f"Cannot be said: no signal can come within {planned} planned cases."
        yield from ({**case, **said, "why_not": why} for case in cases)
        return
    said |= {
        "limit": found.limit,
        "false_alarm": found.false_alarm,
        "power": found.power,
    }
    failed = [bool(case["has_failed"]) for case in cases]
    points = run_adjusted(risks.tolist(), failed, said["odds_ratio"], found.limit)
    for case, point in zip(cases, points, strict=True):
        on_failure, on_success = weights(case["expected_risk"], said["odds_ratio"])
        yield {
            **case,
            **said,
            "weight": on_failure if case["has_failed"] else on_success,
            "score": point.score,
            "is_signal": point.is_signal,
        }


def _odds_ratio(programme: Programme) -> float:
    """Return how many times as high the odds of failing are that must not be missed."""
    unacceptable, acceptable = (
        percent / (100 - percent)
        for percent in (programme.unacceptable_percent, programme.acceptable_percent)
    )
    return unacceptable / acceptable

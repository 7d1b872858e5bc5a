"""summarised.influence: what the mean would be without the case that moves it most.

Flagged only where a verdict or a criterion met rests on that case, or where the case is
unusual among the others; every small audit has some case with the largest influence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np

from pipeline.reference import load
from pipeline.statistics.influence import Influence, largest_influence
from pipeline.statistics.means import clustered_mean
from pipeline.statistics.shares import clustered_share
from pipeline.statistics.verdicts import compare_with_band
from pipeline.summarised.comparison import band_of, floor_of, matching
from pipeline.summarised.criteria import reached_by
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.influence"
UNUSUAL: Final = "unusual among the others"
VERDICTS: Final = ("better", "inside", "too few to say", "worse")
"""Words of a verdict as the mean rises."""
REACHED: Final = ("not applicable", "no target", "no", "too few to say", "yes")
"""Words of a criterion as the share rises."""


@makes(
    TABLE,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.criteria",
    ),
)
def make_influence(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.influence. Grain: measure, subject."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    signed = warehouse.frame(
        "select * from reference.criteria where signed_by <> '' order by criterion"
    ).to_dict("records")
    known = {measure.measure: measure for measure in measures()}
    rows = [*_means(audited), *_verdicts(audited)]
    for criterion in signed:
        rows += _criterion(audited, known[criterion["measure"]], dict(criterion))
    write_rows(warehouse, TABLE, rows)


def _means(audited: Audited) -> Iterator[dict[str, Any]]:
    for measure in measures():
        values = audited.of(measure)
        found = _largest(values)
        if found is not None:
            reason = UNUSUAL if found.is_unusual else None
            yield _row(values, "mean", "all cases", found, reason)


def _verdicts(audited: Audited) -> Iterator[dict[str, Any]]:
    """Yield one row for each verdict: would it be another without one case."""
    for chosen in load.rows("comparison_sets"):
        for measure in measures():
            band = band_of(chosen["comparison_set"], measure.measure)
            if not measure.is_primary or band is None:
                continue
            values = matching(audited.comparable(measure), chosen)
            found = _largest(values)
            if found is None:
                continue
            others = values.where(~found.is_of_patient)
            words = [_verdict(part, band) for part in (values, others)]
            yield _row(
                values,
                "verdict",
                chosen["comparison_set"],
                found,
                rests_on(found, VERDICTS, words[0], words[1]),
            )


def _criterion(
    audited: Audited, measure: Measure, criterion: Mapping[Any, Any]
) -> Iterator[dict[str, Any]]:
    """Yield one row for a signed criterion: the share met, as values 0 and 1."""
    values = audited.of(measure)
    if criterion["group_by"] not in {"", "overall"}:
        values = values.having(criterion["group_by"], [criterion["group_value"]])
    if values.is_empty:
        return
    is_met = np.abs(values.numbers) <= float(criterion["limit"])
    found = largest_influence(is_met, values.patients, is_error=False)
    if found is None:
        return
    target = criterion["target_percent"]
    percent = float(target) if target not in {"", None} else None
    kept = ~found.is_of_patient
    words = [
        reached_by(clustered_share(is_met[part], values.patients[part]), percent)
        for part in (np.ones_like(kept), kept)
    ]
    reason = rests_on(found, REACHED, words[0], words[1])
    yield _row(values, "criterion", criterion["criterion"], found, reason)


def _largest(values: Values) -> Influence | None:
    return largest_influence(
        values.numbers, values.patients, is_error=values.measure.is_error
    )


def _verdict(values: Values, band: tuple[float, float]) -> str:
    mean = clustered_mean(values.numbers, values.patients)
    floor = floor_of(values.measure)
    return compare_with_band(mean, *band, floor, unit=values.measure.unit).word


def rests_on(
    found: Influence, order: Sequence[str], with_all: str, without: str
) -> str | None:
    """Say that a word rests on one case; None where it does not.

    Fewer patients alone make a word less certain. So the word must change the way the
    mean moved: leaving out a case that missed cannot speak against a criterion.

    Args:
        found: the case left out.
        order: the words as they follow each other when the mean rises.
        with_all: the word with every case.
        without: the word without it.
    """
    rise = found.mean_without - found.mean
    if rise * (order.index(without) - order.index(with_all)) <= 0:
        return None
    return f"rests on single cases: {with_all} with it, {without} without it"


def _row(
    values: Values, kind: str, subject: str, found: Influence, reason: str | None
) -> dict[str, Any]:
    own = values.where(found.is_of_patient).rows
    # of a patient with several cases, the one whose value lies furthest off
    furthest = (own["value"] - found.mean).abs().to_numpy().argmax()
    return {
        "measure": values.measure.measure,
        "kind": kind,
        "subject": subject,
        "sources": values.sources,
        "n_patients": found.n_clusters,
        "case_key": str(own["case_key"].iloc[int(furthest)]),
        "mean": found.mean,
        "mean_without": found.mean_without,
        "is_flagged": reason is not None,
        "reason": reason,
    }

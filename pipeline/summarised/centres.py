"""summarised.centres and its two: the centres of a pooled audit, alone and together.

Two ways together. As one sample every patient counts alike: right where centres do the
same thing. With centres that differ at random each centre has a true mean of its own;
the interval is then that of the mean of centres, and the prediction where one further
centre would lie. Both stand in the table; neither orders the centres.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.statistics.aggregates import (
    Totals,
    icc_of_totals,
    mean_of_totals,
    quantile_of_bins,
    share_of_totals,
    together,
)
from pipeline.statistics.clustering import IntraclassCorrelation
from pipeline.statistics.pooling import METHODS, pooled_mean
from pipeline.statistics.quantiles import fewest_values
from pipeline.summarised.centre_totals import (
    MET,
    ROOT,
    VALUE,
    Group,
    Part,
    Quantity,
    bins_of,
    fixed,
    part_of_rows,
    parts_given,
)
from pipeline.summarised.values import NOT_KNOWN, Audited, Measure, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

CENTRES = "summarised.centres"
POOLED = "summarised.centres_pooled"
CRITERIA = "summarised.centres_criteria"
OVERALL = ("overall", "all")
ONE_SAMPLE = "one sample"

Parts = dict[Group, dict[str, Part]]


@makes(
    CENTRES,
    POOLED,
    CRITERIA,
    reads=(
        "summarised.cases_used",
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.criteria",
        "reference.centre_totals",
        "reference.centre_bins",
    ),
)
def make_centres(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make the three tables; without rows where the audit is not pooled."""
    parts: Parts = {}
    bins: dict[str, Counter[int]] = {}
    if warehouse.value(
        """select (select count(centre_code) from summarised.cases_used)
            + (select count(*) from reference.centre_totals)"""
    ):
        merge = parameters["settings"].merge_sources
        audited = Audited(warehouse, merge_sources=merge)
        parts = _parts(warehouse, audited)
        bins = _bins(warehouse, audited)
    known = {measure.measure: measure for measure in measures()}
    write_rows(warehouse, CENTRES, list(_centre_rows(known, parts)))
    write_rows(warehouse, POOLED, list(_pooled_rows(known, parts, bins)))
    write_rows(warehouse, CRITERIA, list(_criteria_rows(parts)))


def _limits(warehouse: Warehouse) -> dict[str, list[float]]:
    """Return the limits of each measure: those of the criteria and those given."""
    found: dict[str, set[float]] = defaultdict(set)
    for measure, limit in warehouse.run(
        """select measure, "limit"::double from reference.criteria
        union select measure, limit_value::double from reference.centre_totals
        where quantity = 'met'"""
    ):
        found[measure].add(float(limit))
    return {measure: sorted(limits) for measure, limits in found.items()}


def _parts(warehouse: Warehouse, audited: Audited) -> Parts:
    """Return what each centre has, by measure and group, the centres in their order."""
    limits = _limits(warehouse)
    parts: Parts = defaultdict(dict)
    for measure in measures():
        for group_by, group_value, values in audited.groups(measure):
            for centre, own in values.by("centre_code"):
                if centre != NOT_KNOWN:
                    group = (measure.measure, group_by, group_value)
                    of = limits.get(measure.measure, [])
                    parts[group][centre] = part_of_rows(own, of)
    given = warehouse.frame("select * from reference.centre_totals").fillna("")
    for group, centre, part in parts_given(given.to_dict("records")):
        others = {other.sources for other in parts[group].values()}
        # figures of different sources never share a mean
        if not others or part.sources in others:
            parts[group][centre] = part
    return {group: dict(sorted(own.items())) for group, own in parts.items() if own}


def _bins(warehouse: Warehouse, audited: Audited) -> dict[str, Counter[int]]:
    found = {}
    for measure in measures():
        counts = Counter(bins_of(measure, audited.of(measure).numbers))
        for place, count in warehouse.run(
            """select place::integer, sum(count_values::integer)::integer
            from reference.centre_bins where measure = $measure group by 1""",
            {"measure": measure.measure},
        ):
            counts[place] += count
        found[measure.measure] = counts
    return found


def _head(measure: Measure, group: Group) -> dict[str, Any]:
    return {
        "measure": measure.measure,
        "unit": measure.unit,
        "group_by": group[1],
        "group_value": group[2],
    }


def _icc(measure: Measure, part: Mapping[Quantity, Totals]) -> IntraclassCorrelation:
    return icc_of_totals(part[(ROOT if measure.is_error else VALUE), None])


def _centre_rows(
    known: Mapping[str, Measure], parts: Parts
) -> Iterator[dict[str, Any]]:
    for group, own in parts.items():
        measure = known[group[0]]
        for centre, part in own.items():
            mean = mean_of_totals(part.totals[VALUE, None], is_error=measure.is_error)
            yield {
                **_head(measure, group),
                "centre_code": centre,
                "content": part.content,
                "sources": part.sources,
                "is_short": part.is_short,
                "n_patients": mean.n_clusters,
                "n_implants": mean.n_values,
                "mean": mean.mean,
                "sd": mean.sd,
                "se": mean.se,
                "mean_low": mean.low,
                "mean_high": mean.high,
                "icc": _icc(measure, part.totals).icc,
                "design_effect": mean.design_effect,
                "note": mean.warning,
            }


def _pooled_rows(
    known: Mapping[str, Measure], parts: Parts, bins: Mapping[str, Counter[int]]
) -> Iterator[dict[str, Any]]:
    for group, own in parts.items():
        measure = known[group[0]]
        head = _head(measure, group)
        row = _one_sample(measure, own)
        if group[1:] == OVERALL:
            row |= _quantiles(bins[measure.measure], fixed(measure.measure).bin_width)
        yield {**head, **row}
        for row in _random_effects(measure, own):
            yield {**head, **row}


def _one_sample(measure: Measure, own: Mapping[str, Part]) -> dict[str, Any]:
    quantities: dict[Quantity, Totals] = {
        quantity: together(part.totals[quantity] for part in own.values())
        for quantity in ((VALUE, None), *([(ROOT, None)] if measure.is_error else []))
    }
    mean = mean_of_totals(quantities[VALUE, None], is_error=measure.is_error)
    icc = _icc(measure, quantities)
    return {
        "method": ONE_SAMPLE,
        "n_centres": len(own),
        "n_patients": mean.n_clusters,
        "n_implants": mean.n_values,
        "mean": mean.mean,
        "sd": mean.sd,
        "mean_low": mean.low,
        "mean_high": mean.high,
        "icc": icc.icc,
        "icc_low": icc.low,
        "icc_high": icc.high,
        "design_effect": mean.design_effect,
        "note": mean.warning,
    }


def _quantiles(counts: Counter[int], width: float) -> dict[str, float]:
    n = counts.total()
    wanted = {"median": 0.5, "p90": 0.9}
    return {
        name: quantile_of_bins(counts, width, p)
        for name, p in wanted.items()
        if n >= fewest_values(p)
    }


def _random_effects(
    measure: Measure, own: Mapping[str, Part]
) -> Iterator[dict[str, Any]]:
    means = [
        mean_of_totals(part.totals[VALUE, None], is_error=measure.is_error)
        for part in own.values()
    ]
    # an interval is the sign that the patients of a centre say how much they differ
    told = [mean for mean in means if mean.low is not None and mean.se]
    for method in METHODS:
        found = pooled_mean(
            [mean.mean or 0.0 for mean in told],
            [(mean.se or 0.0) ** 2 for mean in told],
            method,
        )
        yield {
            "method": method,
            "n_centres": found.n_studies,
            "n_patients": sum(mean.n_clusters for mean in told),
            "n_implants": sum(mean.n_values for mean in told),
            "mean": found.mean,
            "mean_low": found.low,
            "mean_high": found.high,
            "tau2": found.tau2,
            "i2": found.i2,
            "prediction_low": found.prediction_low,
            "prediction_high": found.prediction_high,
            "note": "Fewer than three centres with an interval."
            if found.warning
            else None,
        }


def _criteria_rows(parts: Parts) -> Iterator[dict[str, Any]]:
    for group, own in parts.items():
        limits = {limit for p in own.values() for q, limit in p.totals if q == MET}
        for limit in sorted(x for x in limits if x is not None):
            told = [
                p.totals[MET, limit] for p in own.values() if (MET, limit) in p.totals
            ]
            share = share_of_totals(together(told))
            yield {
                "measure": group[0],
                "group_by": group[1],
                "group_value": group[2],
                "limit_value": limit,
                "n_centres": len(told),
                "n_patients": share.n_clusters,
                "n_met": share.count_met,
                "n_total": share.n_values,
                "share": share.share,
                "share_low": share.low,
                "share_high": share.high,
                "note": share.warning,
            }

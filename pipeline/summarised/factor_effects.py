"""summarised.factor_effects and factor_models: what deviations go with, as ratios.

Each factor of reference/factors.csv alone, then as many together as the cases can carry.
One source, as everywhere; what cannot be estimated stands there with its reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from pipeline.reference import load
from pipeline.statistics.factor_design import (
    NOT_KNOWN as NO_LEVEL,
)
from pipeline.statistics.factor_design import (
    Factor,
    Number,
    Words,
    enough_of_each,
)
from pipeline.statistics.factor_words import diagnostics
from pipeline.statistics.factors import Effect, FactorModel, can_join, factor_model
from pipeline.statistics.multiplicity import holm
from pipeline.statistics.patients import group_by_patient
from pipeline.summarised.values import NOT_KNOWN, Audited, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

EFFECTS: Final = "summarised.factor_effects"
MODELS: Final = "summarised.factor_models"
MEASURES: Final = ("entry_3d_mm", "angle_deg")
TOO_FEW_TOGETHER: Final = "Fewer than two factors can be taken together."
Row = dict[str, Any]


@makes(EFFECTS, MODELS, reads=("summarised.implant_values", "summarised.pair_values"))
def make_factor_effects(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make both tables. Grain: measure, model, factor, level; measure, model, factors."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    effects: list[Row] = []
    models: list[Row] = []
    for measure in measures():
        if measure.measure in MEASURES:
            values = audited.comparable(measure)
            if not values.is_empty:
                _add_measure(values, effects, models)
    write_rows(warehouse, EFFECTS, effects)
    write_rows(warehouse, MODELS, models)


def _add_measure(values: Values, effects: list[Row], models: list[Row]) -> None:
    n_all = values.n_patients
    _, patients = group_by_patient(values.numbers, values.patients)
    values = values.where(enough_of_each(_factors(values), patients))
    factors = _factors(values)
    alone = {
        factor.name: factor_model(values.numbers, values.patients, [factor])
        for factor in factors
    }
    adjusted = _adjusted([e for model in alone.values() for e in model.effects])
    for name, model in alone.items():
        models.append(_model(values, n_all, "alone", [name], model, len(adjusted)))
        effects += _effects(values, "alone", name, model.effects, adjusted)
    chosen, left_out = _joined(values, factors)
    names = [factor.name for factor in chosen]
    if len(chosen) < 2:
        refused = FactorModel(0, 0, (), why_not=TOO_FEW_TOGETHER)
        models.append(_model(values, n_all, "together", [], refused, 0))
        return
    together = factor_model(values.numbers, values.patients, chosen)
    adjusted = _adjusted(together.effects)
    models.append(_model(values, n_all, "together", names, together, len(adjusted)))
    for name, why_not in left_out.items():
        effects += _left_out(values, name, alone[name].effects, why_not)
    for name in names:
        own = [effect for effect in together.effects if effect.term.factor == name]
        effects += _effects(values, "together", name, own, adjusted)


def _factors(values: Values) -> list[Factor]:
    """Return every factor of the reference table as the values have it."""
    found: list[Factor] = []
    for row in load.rows("factors"):
        name, column = row["factor"], row["column"]
        if row["kind"] == "number":
            numbers = values.table.numbers(column)[values.index]
            found.append(
                Number(name, row["label"], numbers, float(row["step"]), row["unit"])
            )
            continue
        codes, names = values.table.coded(column)
        own = codes[values.index]
        own = np.where((names == NOT_KNOWN)[own], NO_LEVEL, own)
        found.append(Words(name, row["label"], own, tuple(map(str, names))))
    return found


def _joined(
    values: Values, factors: Sequence[Factor]
) -> tuple[list[Factor], dict[str, str]]:
    """Take factors in one after the other; return those left out with the reason."""
    _, patients = group_by_patient(values.numbers, values.patients)
    chosen: list[Factor] = []
    left_out: dict[str, str] = {}
    for factor in factors:
        why_not = can_join([*chosen, factor], patients)
        if why_not is None:
            chosen.append(factor)
        else:
            left_out[factor.name] = why_not
    return chosen, left_out


def _adjusted(effects: Sequence[Effect]) -> dict[int, float]:
    """Return the adjusted p value of each estimate, by the identity of its effect."""
    tested = [(id(effect), effect.p) for effect in effects if effect.p is not None]
    adjusted = holm([p for _, p in tested])
    return {at: p for (at, _), p in zip(tested, adjusted, strict=True)}


def _effects(
    values: Values,
    model: str,
    factor: str,
    effects: Sequence[Effect],
    adjusted: Mapping[int, float],
) -> list[Row]:
    if not effects:
        return [_nowhere_known(values, model, factor)]
    return [
        {
            **_head(values, model, effect),
            "is_reference": effect.term.is_reference,
            "estimate": effect.ratio,
            "low": effect.low,
            "high": effect.high,
            "p": effect.p,
            "p_adjusted": adjusted.get(id(effect)),
            "is_estimable": effect.ratio is not None,
            "why_not": effect.term.why_not,
        }
        for effect in effects
    ]


def _left_out(
    values: Values, factor: str, effects: Sequence[Effect], why_not: str
) -> list[Row]:
    if not effects:
        return [_nowhere_known(values, "together", factor)]
    return [
        {
            **_head(values, "together", effect),
            "is_reference": False,
            "is_estimable": False,
            "why_not": why_not,
        }
        for effect in effects
    ]


def _head(values: Values, model: str, effect: Effect) -> Row:
    return {
        "measure": values.measure.measure,
        "model": model,
        "factor": effect.term.factor,
        "level": effect.term.level,
        "sources": values.sources,
        "scale": "log",
        "n_patients": effect.term.n_patients,
        "n_implants": effect.term.n_values,
    }


def _nowhere_known(values: Values, model: str, factor: str) -> Row:
    return {
        "measure": values.measure.measure,
        "model": model,
        "factor": factor,
        "level": NOT_KNOWN,
        "sources": values.sources,
        "scale": "log",
        "is_reference": False,
        "n_patients": values.n_patients,
        "n_implants": len(values.index),
        "is_estimable": False,
        "why_not": "Not known in any case that has a figure.",
    }


def _model(
    values: Values,
    n_all: int,
    model: str,
    factors: Sequence[str],
    fitted: FactorModel,
    count_estimates: int,
) -> Row:
    row = {
        "measure": values.measure.measure,
        "model": model,
        "factors": "|".join(factors),
        "sources": values.sources,
        "n_patients": fitted.n_patients,
        "n_implants": fitted.n_values,
        "n_patients_all": n_all,
        "sd_between": fitted.sd_between,
        "sd_within": fitted.sd_within,
        "icc": fitted.icc,
        "skewness": fitted.skewness,
        "count_estimates": count_estimates,
        "is_estimable": fitted.why_not is None,
        "why_not": fitted.why_not,
        "diagnostics": diagnostics(fitted),
    }
    found = fitted.fragile
    if found is not None:
        row |= {
            "fragile_patient_key": values.rows["patient_key"].iloc[found.row],
            "fragile_estimate": f"{found.term.factor}: {found.term.level}",
            "ratio": found.ratio,
            "ratio_without": found.ratio_without,
            "is_fragile": found.is_changed,
        }
    return row

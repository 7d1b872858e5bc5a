"""Mixed models against printed fits and the reference library; estimable or not, said."""

import csv
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import false_discovery_control
from statsmodels.stats.multitest import multipletests

from pipeline.statistics.factor_design import (
    MOST_PATIENTS,
    NOT_KNOWN,
    Number,
    Words,
    enough_of_each,
)
from pipeline.statistics.factor_words import diagnostics
from pipeline.statistics.factors import ALL_ALIKE, factor_model
from pipeline.statistics.mixed import random_intercept, random_slope
from pipeline.statistics.multiplicity import holm
from pipeline.statistics.patients import group_by_patient

# Davies & Goldsmith, Statistical Methods in Research and Production, 4th ed. 1972, table
# 6.1: yield of dyestuff of six batches, from memory; the documentation of the R package
# lme4 prints mean 1527.5 and REML criterion 319.654276842342 for them
DYESTUFF = {
    "A": [1545, 1440, 1440, 1520, 1580],
    "B": [1540, 1555, 1490, 1560, 1495],
    "C": [1595, 1550, 1605, 1510, 1560],
    "D": [1445, 1440, 1595, 1465, 1545],
    "E": [1595, 1630, 1515, 1635, 1625],
    "F": [1520, 1455, 1450, 1480, 1445],
}


def planted(seed, n=40, slope=0.02):
    """Pairs of implants of patients with a level of their own, and a number to go with."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n), rng.integers(1, 3, size=n))
    own = rng.normal(0, 0.3, n)[patient]
    height = rng.normal(20, 4, n)[patient]
    kind = rng.integers(0, 3, n)[patient]
    logs = 0.2 + 0.25 * (kind == 1) + slope * height + own
    return patient, kind, height, np.exp(logs + rng.normal(0, 0.4, patient.size))


def test_the_dyestuff_fit_is_the_printed_one():
    labels = [batch for batch, yields in DYESTUFF.items() for _ in yields]
    values, batches = group_by_patient(
        [y for v in DYESTUFF.values() for y in v], labels
    )
    found = random_intercept(values, batches, np.ones((values.size, 1)))
    assert found.coefficients[0] == pytest.approx(1527.5)
    assert found.criterion == pytest.approx(319.654276842342, abs=1e-6)
    # balanced analysis of variance by hand: 42.0006 between, 49.5101 within
    assert found.sd_between[0] == pytest.approx(42.0006, abs=1e-3)
    assert found.sd_within == pytest.approx(49.5101, abs=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_ratios_and_their_errors_are_those_of_the_reference_library(seed):
    patient, kind, height, values = planted(seed)
    factors = [
        Words("kind", "the kind", kind, ("a", "b", "c")),
        Number("height", "the height", height, 5.0, "mm"),
    ]
    found = factor_model(values, patient, factors)
    assert found.why_not is None
    frame = pd.DataFrame(
        {"y": np.log(np.maximum(values, 0.05)), "h": height / 5, "p": patient}
    )
    reference = next(e.term.level for e in found.effects if e.term.is_reference)
    frame["k"] = pd.Categorical(
        np.array(["a", "b", "c"])[kind],
        [reference, *(x for x in "abc" if x != reference)],
    )
    with warnings.catch_warnings():
        # the library warns near a variance of 0, and is right all the same
        warnings.simplefilter("ignore")
        fitted = smf.mixedlm("y ~ k + h", frame, groups=frame.p).fit(reml=True)
    for effect in found.effects:
        if effect.term.column is None:
            continue
        name = "h" if effect.term.factor == "height" else f"k[T.{effect.term.level}]"
        assert np.log(effect.ratio) == pytest.approx(fitted.params[name], abs=2e-4)
        at = effect.term.column
        assert found.model.se(at) == pytest.approx(fitted.bse[name], rel=1e-2)


def test_the_sleep_study_fit_with_a_slope_for_each_person_is_the_printed_one():
    """Reaction times of 18 people over days of short sleep.

    Belenky et al., J Sleep Res 2003;12:1-12, times as distributed for teaching. The tests
    of the R package lme4 print the coefficients and the REML criterion of
    Reaction ~ Days + (Days | Subject); its standard errors and sds are from memory.
    """
    path = Path(__file__).with_name("sleep_study.csv")
    with path.open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    times, people = group_by_patient(
        [float(row["Reaction"]) for row in rows], [row["Subject"] for row in rows]
    )
    days = np.array([float(row["Days"]) for row in rows])
    design = np.column_stack([np.ones(days.size), days])
    found = random_slope(times, people, design, days)
    assert people.n_patients == 18
    assert found.coefficients == pytest.approx(
        [251.405104848485, 10.467285959595], abs=1e-6
    )
    assert found.criterion == pytest.approx(1743.6282722424, abs=1e-5)
    assert (found.se(0), found.se(1)) == pytest.approx((6.825, 1.546), abs=6e-4)
    assert found.sd_between == pytest.approx([24.74, 5.92], abs=6e-3)
    assert found.sd_within == pytest.approx(25.59, abs=6e-3)


def test_a_slope_of_its_own_for_each_cluster_agrees_with_the_reference_library():
    rng = np.random.default_rng(3)
    who = np.repeat(np.arange(18), 10)
    number = np.tile(np.arange(10.0), 18)
    own, tilt = rng.normal(0, 1, 18)[who], rng.normal(0, 0.3, 18)[who]
    y = 2 + 0.1 * number + own + tilt * number + rng.normal(0, 0.5, who.size)
    values, clusters = group_by_patient(y, who)
    design = np.column_stack([np.ones(y.size), number])
    found = random_slope(values, clusters, design, number)
    frame = pd.DataFrame({"y": y, "x": number, "w": who})
    fitted = smf.mixedlm("y ~ x", frame, groups=frame.w, re_formula="~x").fit(reml=True)
    assert found.coefficients == pytest.approx(fitted.fe_params.to_numpy(), abs=1e-3)
    assert found.se(1) == pytest.approx(fitted.bse["x"], rel=1e-2)


def test_a_factor_that_follows_from_another_cannot_be_told_apart():
    patient, kind, _, values = planted(1)
    twice = [
        Words("kind", "the kind", kind, ("a", "b", "c")),
        Words("again", "the same again", kind, ("x", "y", "z")),
    ]
    found = factor_model(values, patient, twice)
    assert "Cannot be told apart from the kind" in (found.why_not or "")
    assert all(effect.ratio is None for effect in found.effects)


def test_a_level_of_few_patients_is_too_few_to_say_and_the_others_are_told():
    patient, kind, _, values = planted(2)
    kind = np.where(patient < 3, 3, kind)
    found = factor_model(
        values, patient, [Words("kind", "the kind", kind, ("a", "b", "c", "d"))]
    )
    by_level = {effect.term.level: effect for effect in found.effects}
    assert "Too few to say" in (by_level["d"].term.why_not or "")
    assert by_level["d"].ratio is None
    assert found.why_not is None


def test_what_is_the_same_in_all_or_known_nowhere_is_said():
    patient, _, _, values = planted(2)
    same = Words("kind", "the kind", np.zeros(values.size, dtype=int), ("a",))
    nowhere = Words("kind", "the kind", np.full(values.size, NOT_KNOWN), ())
    assert "is 'a' in all" in (factor_model(values, patient, [same]).why_not or "")
    assert "Not known" in (factor_model(values, patient, [nowhere]).why_not or "")


def test_few_patients_get_no_estimate():
    patient, _, height, values = planted(4, n=9)
    found = factor_model(values, patient, [Number("h", "height", height, 1.0, "mm")])
    assert "Too few to say: 9 patients" in (found.why_not or "")
    assert diagnostics(found) is None


def test_an_interval_holds_the_planted_ratio_about_as_often_as_it_says():
    hits = 0
    for seed in range(300):
        patient, _, height, values = planted(1000 + seed, n=24)
        found = factor_model(
            values, patient, [Number("h", "height", height, 1.0, "mm")]
        )
        (effect,) = found.effects
        hits += effect.low <= np.exp(0.02) <= effect.high
    # 300 draws: a true 95 % lies between 274 and 296 in 999 of 1000
    assert 274 <= hits <= 297


def test_holm_adjusts_as_the_library_does():
    # Benjamini & Hochberg, J R Stat Soc B 1995;57:289-300: fifteen p values of that paper
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459,
         0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]  # fmt: skip
    found = holm(p)
    assert found[:5] == pytest.approx([0.0015, 0.0056, 0.0247, 0.114, 0.2211])
    assert found == pytest.approx(multipletests(p, method="holm")[1])
    assert sum(q <= 0.05 for q in found) == 3
    # the same fifteen by Benjamini and Hochberg's own step: four are told
    assert sum(q <= 0.05 for q in false_discovery_control(p)) == 4


def test_the_fit_says_when_it_rests_on_one_patient():
    patient, kind, _, values = planted(7, n=20)
    kind = (patient % 2).astype(int)
    values = values.copy()
    values[patient == 1] *= 30
    found = factor_model(values, patient, [Words("kind", "the kind", kind, ("a", "b"))])
    assert found.fragile is not None
    assert patient[found.fragile.row] == 1
    said = diagnostics(found) or ""
    assert "Without one patient" in said


def test_a_model_of_very_many_patients_takes_in_enough_of_each_level():
    rng = np.random.default_rng(6)
    n = 3 * MOST_PATIENTS
    kind = (rng.random(n) < 0.9).astype(int)
    kinds = Words("kind", "the kind", kind, ("rare", "common"))
    _, patients = group_by_patient(np.ones(n), np.arange(n))
    taken = enough_of_each([kinds], patients)
    # the rare level whole, the common one up to the cap
    assert np.count_nonzero(taken & (kind == 0)) == np.count_nonzero(kind == 0)
    assert np.count_nonzero(taken & (kind == 1)) == MOST_PATIENTS


def test_values_that_do_not_differ_are_refused_and_not_fitted():
    patient, kind, _, values = planted(1)
    kinds = Words("kind", "the kind", kind, ("a", "b", "c"))
    same = factor_model(np.full(values.size, 1.2), patient, [kinds])
    assert same.why_not == ALL_ALIKE
    by_kind = factor_model(np.array([1.0, 1.5, 2.5])[kind], patient, [kinds])
    assert by_kind.why_not == ALL_ALIKE

"""What deviations go with, from the record sheets to the table and the research page."""

from __future__ import annotations

import time
import warnings
from math import log

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from pipeline.reference import load
from pipeline.statistics.factor_design import MOST_PATIENTS, Words, enough_of_each
from pipeline.statistics.factors import factor_model
from pipeline.statistics.patients import group_by_patient
from pipeline.summarised.factor_effects import MEASURES
from tests.audits import audit_of, opened

HEAD = "case_id,surgery_date,jaw,guide_method,guidance,bone_height_mm\n"


def drawn(n, *, printed=0.0):
    """Two implants of each of n cases; the logarithms of the printed have more added."""
    rng = np.random.default_rng(31)
    rows = []
    for case in range(n):
        method = "printed" if case % 2 else "surveyor"
        height = round(float(rng.uniform(14, 30)), 1)
        own = rng.normal(0, 0.3)
        for side in ("left", "right"):
            logs = own + printed * (case % 2) + rng.normal(0, 0.35)
            error = round(float(np.exp(logs)), 3)
            rows.append((f"c{case:03}", method, height, side, error))
    return pd.DataFrame(rows, columns=["case", "method", "height", "side", "error"])


def audited(place, table):
    """Make an audit of drawn cases, each guided in full."""
    cases, ready = HEAD, "case_id,side,entry_3d_mm,achieved_source\n"
    for at, row in enumerate(table.drop_duplicates("case").itertuples()):
        day = f"2026-{1 + at // 28 % 9:02}-{1 + at % 28:02}"
        cases += f"{row.case},{day},lower,{row.method},full,{row.height}\n"
    for row in table.itertuples():
        ready += f"{row.case},{row.side},{row.error},cbct\n"
    files = {"cases.csv": cases, "deviations.csv": ready}
    return audit_of(place / "audit", files, up_to="summarised")


def effects(folder, model):
    """Return the rows of a model by factor and level."""
    with opened(folder) as audit:
        found = audit.frame(
            "select * from summarised.factor_effects"
            f" where measure = 'entry_3d_mm' and model = '{model}'"
        )
    return {(row["factor"], row["level"]): row for row in found.to_dict("records")}


@pytest.fixture(scope="module")
def planted(tmp_path_factory):
    """Forty cases, the printed guides' errors a third larger."""
    table = drawn(40, printed=log(4 / 3))
    return audited(tmp_path_factory.mktemp("planted"), table), table


def test_ratios_from_the_sheets_are_those_of_the_reference_library(planted):
    folder, table = planted
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # statsmodels MixedLM, REML, on logarithms, the case as the group
        fitted = smf.mixedlm(
            "np.log(error) ~ C(method) + I(height / 5) + C(side)",
            table,
            groups=table["case"],
        ).fit(reml=True)
    found = effects(folder, "together")
    # of two levels as common as each other either may be the one set against
    for factor, name, levels in (
        ("guide_method", "C(method)[T.surveyor]", ("printed", "surveyor")),
        ("side", "C(side)[T.right]", ("left", "right")),
    ):
        first, second = (found[factor, level] for level in levels)
        assert first["is_reference"] != second["is_reference"]
        turned = log(second["estimate"] / first["estimate"])
        assert turned == pytest.approx(fitted.params[name], abs=2e-4)
    height = found["bone_height_mm", "per 5 mm"]
    assert log(height["estimate"]) == pytest.approx(
        fitted.params["I(height / 5)"], abs=2e-4
    )


def test_every_factor_stands_there_with_an_estimate_or_a_reason(planted):
    folder, _ = planted
    for model in ("alone", "together"):
        found = effects(folder, model)
        assert {factor for factor, _ in found} == {
            row["factor"] for row in load.rows("factors")
        }
        for row in found.values():
            assert row["is_estimable"] == pd.isna(row["why_not"])
            assert row["is_estimable"] == pd.notna(row["estimate"])
    alone = effects(folder, "alone")
    assert "is 'full' in all" in alone["guidance", "full"]["why_not"]
    assert "Not known" in alone["mucosa_thickness_mm", "per 1 mm"]["why_not"]


def test_adjusted_p_values_are_never_smaller_and_their_number_is_said(planted):
    folder, _ = planted
    tested = [row for row in effects(folder, "alone").values() if pd.notna(row["p"])]
    assert len(tested) == 3
    assert all(row["p_adjusted"] >= row["p"] for row in tested)
    with opened(folder) as audit:
        counts = audit.run(
            "select distinct count_estimates from summarised.factor_models"
            " where model = 'alone' and measure = 'entry_3d_mm'"
        )
    assert counts == [(3,)]


def test_where_nothing_can_be_estimated_it_is_all_said(tmp_path):
    folder = audited(tmp_path, drawn(6))
    found = effects(folder, "alone")
    assert not any(row["is_estimable"] for row in found.values())
    assert all(row["why_not"] for row in found.values())
    with opened(folder) as audit:
        ((why,),) = audit.run(
            "select why_not from summarised.factor_models"
            " where model = 'together' and measure = 'entry_3d_mm'"
        )
    assert why == "Fewer than two factors can be taken together."


def test_an_audit_without_figures_has_no_effects(tmp_path):
    folder = audit_of(
        tmp_path / "audit",
        {"cases.csv": HEAD + "c1,2026-01-02,lower,printed,full,20\n"},
        up_to="summarised",
    )
    with opened(folder) as audit:
        assert audit.value("select count(*) from summarised.factor_effects") == 0
        assert audit.value("select count(*) from summarised.factor_models") == 0


def test_the_demo_tells_each_measure_and_says_what_it_cannot(demo):
    with opened(demo) as audit:
        told = audit.frame("select * from summarised.factor_models")
    assert set(told["measure"]) == set(MEASURES)
    fitted = told[told["is_estimable"]]
    assert len(fitted)
    assert fitted["diagnostics"].str.len().gt(20).all()
    assert told.loc[~told["is_estimable"], "why_not"].notna().all()


def test_of_a_hundred_thousand_patients_no_more_are_taken_than_a_level_needs():
    rng = np.random.default_rng(5)
    n = 100_000
    who = np.repeat(np.arange(n), 2)
    kind = rng.integers(0, 3, n)[who]
    values = rng.gamma(4, 0.3, who.size)
    factors = [Words("kind", "the kind", kind, ("a", "b", "c"))]
    began = time.process_time()
    _, patients = group_by_patient(values, who)
    taken = enough_of_each(factors, patients)
    few = [Words("kind", "the kind", kind[taken], ("a", "b", "c"))]
    found = factor_model(values[taken], who[taken], few)
    assert time.process_time() - began < 5  # about 0.1 s where nothing else runs
    assert [effect.term.n_patients for effect in found.effects] == [MOST_PATIENTS] * 3

"""Guide batch and drill set as axes: figures against other libraries, and the section."""

import html
import re

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from pipeline.reported import charts
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import clinic_page
from pipeline.reported.section import Section
from pipeline.reported.sections import wear
from tests.audits import audit_of, implants_csv, opened
from tests.integration.report_tables import WRITTEN_AT
from tests.integration.test_plans_kept import SIDES, implant

N_CASES = 15
BLUNTER = 0.12
"""Degrees of lean that each use of the drills adds here."""

LOTS = ["R-1"] * 6 + ["R-2"] * 6 + ["R-3"] * 2 + ["<i>R-4"]


def sheets(n_cases=N_CASES):
    rng = np.random.default_rng(29)
    uses = rng.permutation(60)[:n_cases]
    rows, slips = [], ["guide_id,case_id,kind,material_lot,made_date,used,remake_of"]
    cases = ["case_id,surgery_date,drill_set_uses"]
    for number in range(n_cases):
        name = f"C{number:02d}"
        cases.append(f"{name},2025-04-{number + 1:02d},{uses[number]}")
        slips.append(f"G{number},{name},surgical,{LOTS[number]},2025-03-01,,")
        for side in SIDES:
            lean = rng.normal(2 + BLUNTER * uses[number], 0.8, 2)
            row = implant(name, side, tuple(map(float, lean)))
            shift = rng.normal(0.8, 0.5)
            for end in ("entry", "apex"):
                at = f"achieved_{end}_x_mm"
                row[at] = round(float(row[at]) + shift, 3)
            rows.append(row)
    # the guide of the first case was made again: its lot is the later one's
    slips[1] = "G0,C00,surgical,R-3,2025-02-01,abandoned,"
    slips.append("G99,C00,surgical,R-1,2025-03-02,,G0")
    return {
        "cases.csv": "\n".join(cases) + "\n",
        "guides.csv": "\n".join(slips) + "\n",
        "implants.csv": implants_csv(rows),
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        return audit_of(
            tmp_path_factory.mktemp("wear") / "a", sheets(), up_to="summarised"
        )


def frame(folder, select):
    with opened(folder) as audit:
        return audit.frame(select)


def by_case(folder, measure="angle_deg"):
    return frame(
        folder,
        f"select case_key, avg({measure}) as value, any_value(drill_set_uses) as uses,"
        " any_value(material_lot) as lot from summarised.implant_values"
        " join summarised.wear_of_cases using (case_key) group by case_key",
    )


@pytest.mark.parametrize("measure", ["angle_deg", "entry_3d_mm"])
def test_the_change_by_use_is_the_slope_of_case_means(folder, measure):
    """`statsmodels` OLS with cov_type="HC3" and use_t on the case means."""
    cases = by_case(folder, measure)
    fit = sm.OLS(cases["value"], sm.add_constant(cases["uses"].astype(float))).fit(
        cov_type="HC3", use_t=True
    )
    row = frame(
        folder, f"from summarised.against_uses where measure = '{measure}'"
    ).iloc[0]
    got = row[["slope", "slope_low", "slope_high"]].tolist()
    assert got == pytest.approx([fit.params["uses"], *fit.conf_int().loc["uses"]])
    assert (row["n_patients"], row["n_implants"]) == (N_CASES, 2 * N_CASES)


def test_a_lot_is_set_against_all_others_by_welch(folder):
    """`scipy.stats.ttest_ind` with equal_var=False on case means (two implants each)."""
    cases = by_case(folder)
    of_lot = cases["lot"] == "R-2"
    wanted = stats.ttest_ind(
        cases["value"][of_lot], cases["value"][~of_lot], equal_var=False
    ).confidence_interval()
    row = frame(
        folder,
        "from summarised.by_lot where measure = 'angle_deg' and material_lot = 'R-2'",
    ).iloc[0]
    assert row[["change_low", "change_high"]].tolist() == pytest.approx(list(wanted))


def test_lots_of_fewer_than_five_patients_have_no_mean(folder):
    lots = frame(
        folder,
        "select material_lot, n_patients, mean from summarised.by_lot"
        " where measure = 'entry_3d_mm' order by material_lot",
    )
    assert lots["n_patients"].tolist() == [1, 6, 6, 2]
    assert lots["mean"].notna().tolist() == [False, True, True, False]


def test_a_case_counts_for_the_lot_of_the_guide_it_was_operated_with(folder):
    used = frame(
        folder,
        "select count(*) as n from measured.guides_used where material_lot = 'R-1'",
    )
    assert used["n"].tolist() == [6]


def section_of(folder) -> Section | None:
    with opened(folder) as audit:
        return wear.content(AuditTables(audit, WRITTEN_AT))


def test_the_section_says_what_uses_went_with_and_draws_both_axes(folder):
    section = section_of(folder)
    captions = [drawing.told.caption for drawing in section.context["uses"]]
    assert len(captions) == 3
    assert re.match(
        r"In 15\s?patients, 10 uses more went with \+1\.\d°.*more than chance explains",
        captions[1],
    )
    assert "which chance can explain" in captions[0]
    lots = {row["lot"] for row in section.tables["lots_angle_deg"]}
    assert lots == {"R-1", "R-2", "R-3"}
    assert section.context["untold"] == 2
    assert {line["lot"] for line in section.context["lines"]} == {"R-1", "R-2"}
    assert all(drawing.width == charts.HALF for drawing in section.figures)


def test_the_lot_of_a_slip_never_becomes_part_of_the_page(folder, tmp_path):
    with opened(folder) as audit:
        page = clinic_page(AuditTables(audit, WRITTEN_AT), cache_folder=tmp_path)
    assert "<i>R-4" not in page
    shown = html.unescape(re.sub(r"<[^>]+>", " ", page.partition("<script")[0]))
    assert "Guide batch and drill set" in shown


def test_four_cases_are_too_few_and_what_waits_is_said(tmp_path):
    section = section_of(audit_of(tmp_path / "a", sheets(4), up_to="summarised"))
    assert section.context["uses"] == []
    assert [(wait.what, wait.has, wait.needs) for wait in section.waits] == [
        ("uses", 4, 5)
    ] * 3
    assert section.context["lines"] == []


def test_without_lots_and_uses_there_is_no_such_section(tmp_path):
    files = {"cases.csv": "case_id,surgery_date\nC1,2025-03-04\n"}
    assert section_of(audit_of(tmp_path / "a", files, up_to="summarised")) is None

"""Comparisons with a margin: set by the clinic beforehand, told on the research page."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.weightstats import ttost_ind

from pipeline import audit as audits
from pipeline import commands
from pipeline.errors import SettingsError
from pipeline.own_files import read_comparisons
from tests.audits import fill, invoke, opened, quiet

HEAD = "comparison,group_by,new,usual,measure,margin,chosen_by,chosen_date\n"


def made(place, comparisons, *, counts=(18, 20)):
    rng = np.random.default_rng(12)
    cases = "case_id,surgery_date,jaw,guide_method\n"
    ready = "case_id,side,entry_3d_mm,achieved_source\n"
    values = {"printed": [], "surveyor": []}
    for method, count in zip(values, counts, strict=True):
        for n in range(count):
            case = f"{method[0]}{n:02}"
            cases += f"{case},2026-0{1 + n % 6}-{1 + n:02},lower,{method}\n"
            value = round(float(rng.gamma(8, 0.15)), 2)
            values[method].append(value)
            ready += f"{case},left,{value},cbct\n"
    folder = audits.create_folder(place / "audit").folder
    (folder / "comparisons.csv").write_text(HEAD + comparisons, encoding="utf-8")
    fill(folder, {"cases.csv": cases, "deviations.csv": ready})
    commands.run(folder, "reported", commands.Wishes(), quiet)
    return folder, values


def test_a_comparison_is_tested_as_the_reference_library_does(tmp_path):
    said = "print,guide_method,printed,surveyor,entry_3d_mm,0.5,lead,2020-01-01\n"
    folder, values = made(tmp_path, said)
    with opened(folder) as audit:
        ((above, below, n_new, n_usual, before),) = audit.run(
            "select p_above, p_below, n_patients_new, n_patients_usual, is_chosen_before"
            " from summarised.equivalence"
        )
    _, low, high = ttost_ind(
        values["printed"], values["surveyor"], -0.5, 0.5, usevar="unequal"
    )
    assert (above, below) == pytest.approx((low[1], high[1]))
    assert (n_new, n_usual, before) == (18, 20, True)
    page = (folder / "reports" / "research" / "research_summary.html").read_text()
    assert "As good within a margin" in page
    assert "chosen after" not in page


def test_a_margin_chosen_after_the_first_load_or_on_no_day_is_said(tmp_path):
    said = "print,guide_method,printed,surveyor,entry_3d_mm,0.5,lead,\n"
    folder, _ = made(tmp_path, said)
    page = (folder / "reports" / "research" / "research_summary.html").read_text()
    assert "not on record as chosen before the first load" in page


def test_too_few_patients_are_said_and_sizes_are_told(tmp_path):
    said = "print,guide_method,printed,surveyor,entry_3d_mm,0.5,lead,2020-01-01\n"
    folder, _ = made(tmp_path, said, counts=(3, 20))
    with opened(folder) as audit:
        ((why, verdict),) = audit.run(
            "select why_not, is_not_worse from summarised.equivalence"
        )
        aims = audit.run(
            "select aim, amount, patients_needed from summarised.sample_size"
            " where measure = 'entry_3d_mm' order by 1, 2"
        )
    assert "Too few to say: 3 patients against 20" in why
    assert verdict is None
    assert [row[:2] for row in aims] == [
        ("margin", 0.5),
        ("width", 0.5),
        ("width", 1.0),
    ]
    assert all(row[2] > 2 for row in aims)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("a,guide_method,x,y,depth_mm,1,,\n", "measure 'depth_mm' is not known"),
        ("a,colour,x,y,entry_3d_mm,1,,\n", "group_by 'colour' is not known"),
        ("a,guidance,x,y,entry_3d_mm,0,,\n", "margin should be above 0"),
        ("a,guidance,x,y,entry_3d_mm,half,,\n", "margin should be a number"),
        ("a,guidance,x,y,entry_3d_mm,1,,1/2/26\n", "chosen_date '1/2/26' is no day"),
    ],
)
def test_a_comparison_that_cannot_be_followed_is_refused_with_its_row(
    tmp_path, row, said
):
    audit = audits.create_folder(tmp_path / "audit")
    (audit.folder / "comparisons.csv").write_text(HEAD + row, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"comparisons\.csv, row 2") as refused:
        read_comparisons(audit)
    assert said in refused.value.sentence


def test_an_audit_from_before_comparisons_runs_without_them(tmp_path, capsys):
    folder, _ = made(tmp_path, "")
    (folder / "comparisons.csv").unlink()
    code, _, said = invoke(capsys, "summarise", folder)
    assert code == 0, said

"""Trainees' cases judged with hard cases allowed for, and said plainly where that cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline import commands, keys
from tests.audits import fill, opened, quiet

CRITERIA = (
    "criterion,measure,limit,target_percent,group_by,group_value,exceptions,signed_by,signed_date\n"
    "Entry within 2 mm,entry_3d_mm,2,80,,,,programme director,2026-01-05\n"
)
TRAINEES = 5


def programme(home, cases_each):
    """Make an audit of trainees whose misses go with low jaws; one has easy cases only."""
    rng = np.random.default_rng(21)
    cases = "case_id,surgery_date,jaw,operator,operator_level,role,bone_height_mm,guidance\n"
    ready = "case_id,side,entry_3d_mm,achieved_source\n"
    for who in range(TRAINEES):
        for number in range(cases_each):
            case = f"c{who:02}{number:02}"
            height = rng.uniform(20, 30) if who == 0 else rng.uniform(8, 30)
            guidance = ("full", "pilot")[int(rng.random() < 0.5)]
            cases += (
                f"{case},2026-{1 + number // 2:02}-{3 + who + 14 * (number % 2):02},lower,"
                f"Trainee{who:02}x,resident,placed,{height:.1f},{guidance}\n"
            )
            is_missed = rng.random() < (0.65 if height < 17 else 0.12)
            for side in ("left", "right"):
                error = rng.uniform(2.1, 3.4) if is_missed else rng.uniform(0.3, 1.9)
                ready += f"{case},{side},{error:.3f},cbct\n"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(keys.HOME_VARIABLE, str(home / "keys"))
        folder = home / "audit"
        audits.create_folder(folder)
        (folder / "criteria.csv").write_text(CRITERIA, encoding="utf-8")
        fill(folder, {"cases.csv": cases, "deviations.csv": ready})
        commands.run(folder, "reported", commands.Wishes(), quiet)
    return folder


def of(folder, select):
    with opened(folder) as audit:
        return audit.frame(select)


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    return programme(tmp_path_factory.mktemp("adjusted"), 18)


SCORES = (
    "select * from summarised.competence_adjusted order by trainee_code, case_number"
)


def test_low_jaws_raise_what_is_expected_and_all_expected_misses_are_all_misses(large):
    scores = of(
        large,
        "select a.*, c.bone_height_mm from summarised.competence_adjusted as a"
        " inner join measured.cases as c on a.case_key = c.case_key",
    )
    assert len(scores) == TRAINEES * 18
    assert scores.why_not.isna().all()
    assert set(scores.covariates.str.split("|").str[0]) == {"bone_height_mm"}
    assert scores.expected_risk.sum() == pytest.approx(scores.has_failed.sum())
    low = scores.bone_height_mm < 15
    assert scores.expected_risk[low].mean() > 2 * scores.expected_risk[~low].mean()


def test_a_miss_in_an_easy_case_weighs_more_and_the_limit_keeps_the_chance(large):
    scores = of(large, SCORES)
    missed = scores[scores.has_failed].sort_values("expected_risk")
    assert missed.weight.is_monotonic_decreasing
    assert (missed.weight > 0).all()
    assert (scores.weight[~scores.has_failed] < 0).all()
    assert (scores.false_alarm <= 0.05).all()
    assert scores.groupby("trainee_code").limit.nunique().eq(1).all()
    # own risks, own limit: easy cases alone have another than mixed ones
    assert scores.limit.nunique() > 1


def test_the_programme_page_says_what_was_allowed_for_by_code_and_names_nobody(large):
    page = (large / "reports" / "programme.html").read_text()
    section = page.partition("Signed criteria, allowing for hard cases")[2]
    assert "Expected from bone height" in section
    assert "Trainee0" not in page
    codes = sorted(of(large, SCORES).trainee_code.unique())
    places = [
        section.index("".join(f"<span>{code[at : at + 4]}</span>" for at in (0, 4, 8)))
        for code in codes
    ]
    assert places == sorted(places)


def test_few_cases_are_said_to_be_too_few_and_no_score_is_given(tmp_path):
    folder = programme(tmp_path, 4)
    scores = of(folder, SCORES)
    assert len(scores) == TRAINEES * 4
    assert scores.score.isna().all()
    assert set(scores.why_not) == {"Too few to say: 20 of the 40 judged cases needed."}
    page = (folder / "reports" / "programme.html").read_text()
    section = page.partition("Signed criteria, allowing for hard cases")[2]
    assert "Too few to say: 20 of the 40 judged cases needed." in section

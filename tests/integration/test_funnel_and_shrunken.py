"""Trainees beside each other without a ranking: limits by number of cases, drawn means."""

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
TRAINEES = 11
CASES_EACH = 7


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    """Eleven trainees; the mean entry deviation of each is planted apart."""
    rng = np.random.default_rng(9)
    cases = (
        "case_id,surgery_date,jaw,operator,operator_level,role,guide_lab,guide_method\n"
    )
    ready = "case_id,side,entry_3d_mm,achieved_source\n"
    for who in range(TRAINEES):
        for number in range(CASES_EACH):
            case = f"c{who:02}{number}"
            lab, method = f"lab{who % 3}", ("surveyor", "printed")[who % 2]
            cases += (
                f"{case},2026-0{1 + number}-{who + 3:02},lower,Trainee{who:02}x,resident,"
                f"placed,{lab},{method}\n"
            )
            for side in ("left", "right"):
                error = rng.gamma(8, (1.0 + 0.12 * who) / 8)
                ready += f"{case},{side},{error:.2f},cbct\n"
    home = tmp_path_factory.mktemp("fairness")
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


def test_a_case_is_judged_once_by_its_worse_implant(programme):
    judged = of(programme, "select * from summarised.judged_cases")
    by_hand = of(
        programme,
        "select case_key, max(entry_3d_mm) > 2 as has_failed from measured.implants"
        " group by case_key",
    )
    both = judged.merge(by_hand, on="case_key")
    assert len(both) == len(judged) == TRAINEES * CASES_EACH
    assert (both.has_failed_x == both.has_failed_y).all()


def test_each_kind_of_unit_counts_every_judged_case_once(programme):
    funnel = of(programme, "select * from summarised.funnel")
    assert set(funnel.kind) == {"trainee", "laboratory", "guide_method"}
    assert set(funnel.groupby("kind").n_cases.sum()) == {TRAINEES * CASES_EACH}
    assert funnel.groupby("kind").n_failed.sum().nunique() == 1


def test_units_stand_in_the_order_of_their_codes_and_two_have_no_limits(programme):
    funnel = of(programme, "select * from summarised.funnel")
    trainees = funnel[funnel.kind == "trainee"]
    assert list(trainees.unit) == sorted(trainees.unit)
    assert trainees.phi.notna().all()
    labs = funnel[funnel.kind == "laboratory"]
    assert labs.phi.isna().all()
    assert labs.note.str.contains("cannot be judged").all()
    methods = funnel[funnel.kind == "guide_method"]
    assert methods.target.isna().all()


def test_a_drawn_mean_lies_between_the_own_and_the_common_one(programme):
    means = of(programme, "select * from summarised.shrunken")
    assert len(means) == TRAINEES
    assert (means.spread_between > 0).all()
    assert (
        (means.shrunken - means.overall) * (means["mean"] - means.shrunken) >= 0
    ).all()
    # planted true means run from 1.0 to 2.2: the drawn ones miss them by less in all
    assert means.shrunken.std() < means["mean"].std()


def test_the_programme_page_shows_codes_and_no_names(programme):
    page = (programme / "reports" / "programme.html").read_text()
    assert "Against the common share, by number of cases" in page
    assert "Means, and what to expect next" in page
    assert "Learning, over all trainees together" in page
    assert "built-in" not in page
    assert "Trainee0" not in page
    assert "lab0" not in page


def test_learning_is_told_over_all_trainees_with_how_many_stand_behind_it(programme):
    (row,) = of(programme, "select * from summarised.learning").to_dict("records")
    assert (row["n_trainees"], row["n_cases"]) == (TRAINEES, TRAINEES * CASES_EACH)
    # no learning was planted; the interval should say so
    assert row["low"] < 1 < row["high"]
    page = (programme / "reports" / "programme.html").read_text()
    assert "which is not told apart from no change" in page


def test_operator_and_laboratory_are_not_told_apart_where_each_had_one_only(programme):
    rows = of(programme, "select * from summarised.attribution").to_dict("records")
    assert [(row["factor"], row["other_factor"]) for row in rows] == [
        ("operator", "lab")
    ]
    (row,) = rows
    assert (row["n_cases"], row["n_levels"], row["n_other_levels"]) == (77, 11, 3)
    assert row["answer"] == "one_in_other"
    page = (programme / "reports" / "programme.html").read_text()
    assert "no: each operator goes with one laboratory only" in page

"""Trainees' own cases: counted, numbered and judged as a programme would by hand."""

from __future__ import annotations

import pytest

from pipeline import audit as audits
from pipeline import commands
from tests.audits import fill, opened, quiet

CRITERIA = (
    "criterion,measure,limit,target_percent,group_by,group_value,exceptions,signed_by,signed_date\n"
    "Sideways within 1.5 mm,entry_lateral_mm,1.5,80,,,,programme director,2026-01-05\n"
)

CASES = [
    # case, person, level, role, finished by, day, setting, sideways deviation left and right
    ("c01", "Aule", "resident", "placed", "", "2026-01-12", "patient", (0.41, 0.83)),
    ("c02", "Aule", "resident", "placed", "", "2026-02-02", "patient", (0.72, 1.94)),
    ("c03", "Aule", "resident", "assisted", "", "2026-02-09", "patient", (2.62, 2.13)),
    ("c04", "Aule", "resident", "taken_over", "Berrin", "2026-03-03", "patient", (2.27, 0.38)),
    ("c05", "Aule", "resident", "placed", "", "2026-01-20", "bench", (2.91, 2.54)),
    ("c06", "Berrin", "faculty", "placed", "", "2026-01-27", "patient", (1.83, 2.75)),
    ("c07", "Cinder", "student", "placed", "", "2026-03-24", "patient", (0.57, 0.66)),
]  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = tmp_path_factory.mktemp("trainees")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(audits.HOME_VARIABLE, str(home / "keys"))
        return programme(home / "audit", CRITERIA)


def programme(folder, criteria):
    audits.create_folder(folder)
    (folder / "criteria.csv").write_text(criteria, encoding="utf-8")
    cases = "case_id,patient_id,surgery_date,jaw,operator,operator_level,role,finished_by,setting\n"
    ready = "case_id,side,entry_lateral_mm,achieved_source\n"
    for number, row in enumerate(CASES):
        case, person, level, role, by, day, setting, sides = row
        cases += (
            f"{case},p{number},{day},lower,{person},{level},{role},{by},{setting}\n"
        )
        for side, value in zip(("left", "right"), sides, strict=True):
            ready += f"{case},{side},{value},cbct\n"
    fill(folder, {"cases.csv": cases, "deviations.csv": ready})
    commands.run(folder, "summarised", commands.Wishes(), quiet)
    return folder


def of(folder, select):
    with opened(folder) as audit:
        return audit.run(select)


def test_a_case_taken_over_counts_for_the_one_who_started_it_and_an_assisted_one_does_not(
    folder,
):
    assert of(
        folder,
        "select count_cases, count_placed, count_taken_over, count_assisted"
        " from summarised.trainee_exposure where setting = 'patient'"
        " order by count_cases desc",
    ) == [(3, 2, 1, 1), (1, 1, 0, 0)]


def test_bench_cases_are_numbered_apart_and_never_judged_with_patients(folder):
    assert of(
        folder,
        "select setting, case_number, month(surgery_date) from summarised.trainee_cases"
        " where trainee_code in (select trainee_code from summarised.trainee_exposure"
        " where count_assisted = 1) order by setting, surgery_date",
    ) == [
        ("bench", 1, 1),
        ("patient", 1, 1),
        ("patient", 2, 2),
        ("patient", None, 2),
        ("patient", 3, 3),
    ]
    assert of(folder, "select count(distinct case_key) from summarised.competence") == [
        (4,)
    ]


def test_a_case_fails_when_one_of_its_implants_misses_a_signed_criterion(folder):
    assert of(
        folder,
        "select case_number, has_failed, round(score / ln(2), 6), is_signal, is_too_few"
        " from summarised.competence where chart = 'performance' and trainee_code in"
        " (select trainee_code from summarised.trainee_exposure where count_assisted = 1)"
        " order by case_number",
    ) == [
        (1, False, 0.0, False, True),
        (2, True, 1.0, False, True),
        (3, True, 2.0, False, True),
    ]


def test_nobody_but_trainees_is_scored(folder):
    assert of(
        folder, "select count(distinct trainee_code) from summarised.competence"
    ) == [(2,)]


def test_nothing_is_judged_where_no_criterion_is_signed(tmp_path):
    unsigned = CRITERIA.replace("programme director,2026-01-05", ",")
    folder = programme(tmp_path / "audit", unsigned)
    assert of(folder, "select count(*) from summarised.competence") == [(0,)]

"""Trainees' own cases: counted, numbered and judged as a programme would by hand."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from pipeline import audit as audits
from pipeline import commands, keys
from pipeline.errors import NoSuchTrainee, SettingsError
from pipeline.own_files import read_requirements
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import (
    write_circulated_report,
    write_programme_report,
    write_trainee_report,
)
from tests.audits import audit_of, fill, opened, quiet

CRITERIA = (
    "criterion,measure,limit,target_percent,group_by,group_value,exceptions,signed_by,signed_date\n"
    "Sideways within 1.5 mm,entry_lateral_mm,1.5,80,,,,programme director,2026-01-05\n"
)

EXAMINERS = {"c01": "Aule", "c02": "Berrin", "c07": "Cinder"}

LOGGED = {
    # case: height of the lower jaw, day of entry in the log
    "c01": ("22.4", "2026-01-15"), "c02": ("15.5", "2026-05-13"), "c03": ("9", ""),
    "c04": ("10.2", ""), "c07": ("", "2026-03-24"),
}  # fmt: skip

REQUIREMENTS = (
    "requirement,role,guidance,cases\n"
    "started,own,,4\nfinished,finished,,2\nassisted,assisted,,1\n"
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
        patch.setenv(keys.HOME_VARIABLE, str(home / "keys"))
        return programme(home / "audit", CRITERIA)


def programme(folder, criteria):
    audits.create_folder(folder)
    (folder / "criteria.csv").write_text(criteria, encoding="utf-8")
    (folder / "requirements.csv").write_text(REQUIREMENTS, encoding="utf-8")
    cases = "case_id,patient_id,surgery_date,jaw,operator,operator_level,role,finished_by,setting,bone_height_mm,logged_date\n"
    ready = "case_id,side,entry_lateral_mm,entry_3d_mm,achieved_source,examiner\n"
    for number, row in enumerate(CASES):
        case, person, level, role, by, day, setting, sides = row
        height, logged = LOGGED.get(case, ("", ""))
        cases += (
            f"{case},p{number},{day},lower,{person},{level},{role},{by},{setting}"
            f",{height},{logged}\n"
        )
        for side, value in zip(("left", "right"), sides, strict=True):
            ready += f"{case},{side},{value},{value + 0.31:.2f},cbct,{EXAMINERS.get(case, '')}\n"
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


def test_a_case_measured_by_the_one_who_operated_is_counted_apart(folder):
    assert of(
        folder,
        "select count_measured, count_self_measured from summarised.trainee_exposure"
        " where setting = 'patient' order by all",
    ) == [(1, 1), (3, 1)]


def test_own_cases_are_counted_by_the_height_of_the_jaw_in_whole_millimetres(folder):
    """15.5 mm counts as 16, 10.2 mm as 10; an assisted case (9 mm) is no own case. Classes
    of the index of edentulous jaws (McGarry and others, J Prosthodont 1999;8:27-39)."""
    assert of(
        folder,
        "select bone_height, count_cases from summarised.trainee_difficulty"
        " where setting = 'patient' order by count_cases, bone_height",
    ) == [
        ("10 mm or less", 1),
        ("16 to 20 mm", 1),
        ("21 mm or more", 1),
        ("not known", 1),
    ]


def test_the_days_from_surgery_to_the_log_are_said(folder, tmp_path):
    assert of(
        folder,
        "select count_logged, median_log_lag_days, longest_log_lag_days"
        " from summarised.trainee_exposure where setting = 'patient' order by 1",
    ) == [(1, 0.0, 0), (2, 51.5, 100)]
    programme, _ = pages(folder, tmp_path)
    assert "median 52, longest 100" in programme


def test_a_case_somebody_took_over_is_drawn_hollow_in_the_own_strip(folder, tmp_path):
    _, own = pages(folder, tmp_path)
    taken = of(
        folder, "select trainee_code from summarised.trainee_cases where is_taken_over"
    )[0][0]
    assert "datum.is_taken_over" in own[taken]
    assert '"is_taken_over":[false,false,false,false,true,true]' in own[taken]
    assert "somebody else took over" in own[taken]


def test_cases_had_stand_against_the_numbers_the_programme_asks_for(folder):
    assert of(
        folder,
        "select requirement, list(count_had order by count_had), any_value(count_required)"
        " from summarised.trainee_requirements group by requirement order by 1",
    ) == [("assisted", [0, 1], 1), ("finished", [1, 2], 2), ("started", [1, 3], 4)]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("x,watched,,3", "row 2: role 'watched' is not known"),
        ("x,own,sideways,3", "row 2: guidance 'sideways' is not known"),
        ("x,own,,many", "row 2: cases should be a whole number above 0"),
        ("x,own,,0", "row 2: cases should be a whole number above 0"),
    ],
)
def test_a_requirement_that_cannot_be_counted_is_refused_with_its_row(
    tmp_path, row, said
):
    audit = audits.create_folder(tmp_path / "audit")
    (audit.folder / "requirements.csv").write_text(
        f"requirement,role,guidance,cases\n{row}\n", encoding="utf-8"
    )
    with pytest.raises(SettingsError, match=said):
        read_requirements(audit)


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


WRITTEN_AT = datetime(2026, 6, 1, tzinfo=UTC)


def pages(folder, tmp_path):
    """Return the programme page, then each trainee's own page by code."""
    with opened(folder) as audit:
        programme = write_programme_report(AuditTables(audit, WRITTEN_AT), tmp_path)
        codes = [row[0] for row in audit.run(
            "select distinct trainee_code from summarised.trainee_exposure order by all"
        )]  # fmt: skip
        own = {
            code: write_trainee_report(
                AuditTables(audit, WRITTEN_AT, trainee=code), tmp_path
            )
            for code in codes
        }
    return programme.read_text("utf-8"), {
        code: path.read_text("utf-8") for code, path in own.items()
    }


def test_pages_about_trainees_hold_codes_and_no_names(folder, tmp_path):
    programme, own = pages(folder, tmp_path)
    for page in (programme, *own.values()):
        for name in ("Aule", "Berrin", "Cinder", "p0", "c01"):
            assert f">{name}<" not in page
            assert f'"{name}"' not in page
        assert "no ground by themselves" in page


def test_an_own_page_holds_nothing_of_another_trainee(folder, tmp_path):
    _, own = pages(folder, tmp_path)
    cases = dict(
        of(folder, "select case_key, trainee_code from summarised.trainee_cases")
    )
    assert len(own) == 2
    for code, page in own.items():
        for case_key, owner in cases.items():
            assert (case_key in page) <= (owner == code)
        for other in own.keys() - {code}:
            assert other not in page


def test_a_few_cases_are_said_to_be_too_few_with_how_many_more(folder, tmp_path):
    programme, own = pages(folder, tmp_path)
    assert len(re.findall(r"too few to say; 7\scases more", programme)) == 2
    assert len(re.findall(r"too few to say; 9\scases more", programme)) == 2
    said = [
        bool(re.search(r"Too few to say; 7\scases more", page)) for page in own.values()
    ]
    assert sorted(said) == [False, True]


def test_the_programme_page_says_what_came_what_was_held_and_what_is_asked_for(
    folder, tmp_path
):
    programme, own = pages(folder, tmp_path)
    assert "The records: what came, what is missing, what it means" in programme
    for page in (programme, *own.values()):
        assert "started: 4 asked for" in page


def test_the_programme_page_lists_trainees_by_code_and_ranks_nobody(folder, tmp_path):
    programme, own = pages(folder, tmp_path)
    standing = programme.partition("Signed criteria, case by case")[2]
    places = [
        standing.index("".join(f"<span>{code[at : at + 4]}</span>" for at in (0, 4, 8)))
        for code in sorted(own)
    ]
    assert places == sorted(places)
    said = programme.partition('<script type="application/json"')[0]
    assert not re.search(r"\b(rank|best|worst|league)\b", said, re.IGNORECASE)


def test_the_circulated_copy_names_nobody_and_no_case_and_shows_no_small_count(
    folder, tmp_path
):
    with opened(folder) as audit:
        path = write_circulated_report(AuditTables(audit, WRITTEN_AT), tmp_path)
        codes = {row[0] for row in audit.run(
            "select case_key from measured.cases union all select patient_key from measured.cases"
        )}  # fmt: skip
        operators = {row[0] for row in audit.run(
            "select distinct operator_code from measured.cases"
            " where operator_level not in ('student', 'resident')"
        )}  # fmt: skip
    page = path.read_text("utf-8")
    assert len(codes) >= len(CASES)
    assert operators
    assert not [code for code in codes | operators if code in page]
    for row in CASES:
        assert row[0] not in page
        assert row[1] not in page
    for of_trainee in ("01-12", "12 Jan", "24 Mar"):
        assert of_trainee not in page
    shown = re.findall(r'<td class="n">([^<]*)</td>', page)
    assert "*" in shown
    assert not {"1", "2", "3", "4"} & set(shown)


def test_an_unknown_trainee_is_a_sentence_and_not_a_crash(folder, tmp_path):
    with opened(folder) as audit, pytest.raises(NoSuchTrainee, match="'nobody'"):
        write_trainee_report(AuditTables(audit, WRITTEN_AT, trainee="nobody"), tmp_path)


def test_without_trainees_no_programme_page_is_written(tmp_path):
    folder = tmp_path / "audit"
    audit_of(
        folder,
        {"cases.csv": "case_id,surgery_date\nc1,2026-01-12\n"},
        up_to="summarised",
    )
    with opened(folder) as audit:
        assert write_programme_report(AuditTables(audit, WRITTEN_AT), tmp_path) is None
        assert write_circulated_report(AuditTables(audit, WRITTEN_AT), tmp_path) is None


def test_results_measured_by_who_operated_stand_in_a_row_of_their_own(folder):
    # by hand: Aule measured c01, Cinder c07; Berrin, who finished c04 and operated c06,
    # measured c02 of Aule; nobody is named for the others
    rows = of(
        folder,
        "select measured_by, count(distinct case_key) from summarised.implant_values"
        " group by 1 order by 1",
    )
    assert rows == [("not known", 3), ("other", 1), ("self", 2)]
    means = dict(
        of(
            folder,
            "select group_value, mean from summarised.accuracy"
            " where measure = 'entry_lateral_mm' and group_by = 'measured_by'",
        )
    )
    assert means["self"] == pytest.approx((0.41 + 0.83 + 0.57 + 0.66) / 4)
    assert means["other"] == pytest.approx((0.72 + 1.94) / 2)


def test_who_lacks_a_lower_overdenture_on_two_implants_is_counted(folder, tmp_path):
    # every case of the fixture is a lower jaw with a left and a right implant
    assert of(
        folder,
        "select bool_and(count_two_implant_lower = count_cases)"
        " from summarised.trainee_exposure",
    ) == [(True,)]
    cases = (
        "case_id,surgery_date,jaw,operator,operator_level,role\n"
        "d1,2026-01-12,upper,Dost,resident,placed\n"
        "d2,2026-02-12,lower,Dost,resident,placed\n"
    )
    ready = (
        "case_id,side,tooth,entry_lateral_mm,achieved_source\n"
        "d1,left,,0.71,cbct\nd1,right,,0.52,cbct\n"
        "d2,,33,0.93,cbct\nd2,,43,0.64,cbct\nd2,,41,1.13,cbct\n"
    )
    other = audit_of(
        tmp_path / "audit",
        {"cases.csv": cases, "deviations.csv": ready},
        up_to="reported",
    )
    ((code, count),) = of(
        other,
        "select trainee_code, count_two_implant_lower from summarised.trainee_exposure",
    )
    assert count == 0
    page = (other / "reports" / "programme.html").read_text(encoding="utf-8")
    assert f"None yet: {code}." in page

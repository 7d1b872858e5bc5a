"""A programme director with two trainees, of 6 and of 30 cases, and what the pages say.

The one of 6 has met every criterion so far: nothing may be concluded. The one of 30 was
fine for 15 cases and then missed a criterion in every second one: the page must say so.
"""

from __future__ import annotations

import re
from html import unescape

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline import commands, keys
from pipeline.reported.wording import NO_BREAK_SPACE
from tests.audits import fill, opened, quiet

CRITERIA = (
    "criterion,measure,limit,target_percent,group_by,group_value,exceptions,signed_by,signed_date\n"
    "Entry within 2 mm,entry_3d_mm,2,80,,,,programme director,2026-01-05\n"
)
FEW, MANY = "Quillon Ash", "Verena Oak"


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    rng = np.random.default_rng(30)
    cases = (
        "case_id,surgery_date,jaw,operator,operator_level,role,supervisor,guidance,"
        "guide_method,guide_support\n"
    )
    ready = "case_id,side,entry_3d_mm,achieved_source\n"
    for who, start, count in ((FEW, "q", 6), (MANY, "v", 30)):
        for n in range(count):
            case = f"{start}{n:02}"
            day = f"20{24 + n // 12}-{1 + n % 12:02}-{3 + n % 20:02}"
            cases += f"{case},{day},lower,{who},resident,placed,Ines Rowan,pilot,surveyor,mucosa\n"
            misses = count == 30 and n >= 15 and n % 2
            for side in ("left", "right"):
                value = rng.uniform(2.2, 2.9) if misses else rng.uniform(0.6, 1.8)
                ready += f"{case},{side},{value:.2f},cbct\n"
    home = tmp_path_factory.mktemp("director")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(keys.HOME_VARIABLE, str(home / "keys"))
        folder = home / "audit"
        audits.create_folder(folder)
        (folder / "criteria.csv").write_text(CRITERIA, encoding="utf-8")
        fill(folder, {"cases.csv": cases, "deviations.csv": ready})
        commands.run(folder, "summarised", commands.Wishes(), quiet)
        with opened(folder) as audit:
            codes = dict(
                audit.run(
                    "select count_cases, trainee_code from summarised.trainee_exposure"
                )
            )
        for code in codes.values():
            commands.run(folder, "reported", commands.Wishes(trainee=code), quiet)
    return folder, codes


def words_of(page):
    text = re.sub(r"<script.*?</script>|<style.*?</style>", "", page, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]+>", " ", text)).replace(NO_BREAK_SPACE, " ")
    return re.sub(r"\s+", " ", text)


def own_page(programme, count):
    folder, codes = programme
    page = folder / "reports" / f"trainee_{codes[count]}.html"
    return words_of(page.read_text(encoding="utf-8"))


def test_of_six_good_cases_the_page_says_that_they_are_too_few(programme):
    text = own_page(programme, 6)
    assert "Too few to say; 4 cases more until this tells something." in text
    assert "ignal at own case" not in text


def test_of_thirty_cases_that_drift_the_page_names_the_case_of_the_signal(programme):
    folder, _ = programme
    text = own_page(programme, 30)
    found = re.search(r"Signal at own case (\d+)", text)
    assert found
    with opened(folder) as audit:
        (first,) = audit.run(
            "select min(case_number) from summarised.competence"
            " where is_signal and chart = 'performance'"
        )
    # the drift begins with case 16; nothing before it may speak
    assert int(found[1]) == first[0] > 16
    assert "the case of the signal is not the moment something changed" in text


def test_the_programme_page_says_both_and_orders_nobody(programme):
    folder, codes = programme
    page = (folder / "reports" / "programme.html").read_text(encoding="utf-8")
    text = words_of(page)
    assert "too few to say; 4 cases more" in text
    assert "signal at own case" in text
    table = page[page.index("Signed criteria, case by case") :]
    shown = re.sub(r"<[^>]+>", "", table)
    places = [shown.index(code) for code in sorted(codes.values())]
    assert places == sorted(places)


def test_the_published_band_stands_behind_the_own_cases_of_one_kind_of_guide(programme):
    assert "Band: published means 1.1 mm to 3.0 mm (Lab-made conventional guide" in (
        own_page(programme, 30)
    )


def test_nothing_on_any_page_of_the_programme_names_a_person(programme):
    folder, _ = programme
    pages = [p for p in (folder / "reports").rglob("*.html") if "clinic" not in p.name]
    assert len(pages) >= 4
    for page in pages:
        text = page.read_text(encoding="utf-8")
        for name in (*FEW.split(), *MANY.split(), "Ines", "Rowan"):
            assert not re.search(rf"\b{name}\b", text), (page.name, name)

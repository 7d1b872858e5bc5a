"""The pages about trainees as a browser prints them."""

from datetime import UTC, datetime

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import write_programme_report, write_trainee_report
from tests.audits import opened as audit_opened
from tests.browser.test_clinic_page import opened, pages_of

WRITTEN_AT = datetime(2026, 6, 1, tzinfo=UTC)


TITLE = "Two-implant lower overdentures"
"""As the settings of a new audit have it: a line more than a page without one."""


@pytest.fixture(scope="module")
def paths(demo, tmp_path_factory):
    """The programme page and the page of the trainee with most cases."""
    folder = tmp_path_factory.mktemp("programme")
    with audit_opened(demo) as audit:
        code = audit.value(
            "select trainee_code from summarised.trainee_exposure"
            " order by count_cases desc, trainee_code limit 1"
        )
        return {
            "programme": write_programme_report(
                AuditTables(audit, WRITTEN_AT, title=TITLE), folder
            ),
            "trainee": write_trainee_report(
                AuditTables(audit, WRITTEN_AT, title=TITLE, trainee=code), folder
            ),
        }


@pytest.mark.parametrize("name", ["programme", "trainee"])
def test_a_page_about_trainees_prints_on_one_side(browser, paths, name):
    with opened(browser, paths[name]) as (tab, complaints, _):
        assert complaints == []
        assert pages_of(tab.pdf(prefer_css_page_size=True)) == 1


@pytest.mark.parametrize("name", ["programme", "trainee"])
def test_no_table_of_a_page_about_trainees_is_cut_off_on_a_screen(browser, paths, name):
    with opened(browser, paths[name]) as (tab, _, _):
        wide = tab.evaluate(
            """() => [...document.querySelectorAll('#side-1 .scroll')]
            .filter(box => box.scrollWidth > box.clientWidth + 1).length"""
        )
        assert wide == 0

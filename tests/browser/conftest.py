"""One browser for all tests of this folder, and the pages they look at."""

import shutil

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import write_clinic_report
from pipeline.warehouse import Warehouse
from tests.integration import report_tables as tables_of

NAMES = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def browser():
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright is missing"
    )
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip(f"no browser on this machine: none of {', '.join(NAMES)}")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="session")
def page_path(tmp_path_factory):
    """Write the page of an invented audit once, and return its file."""
    made = {}

    def path_of(name):
        if name not in made:
            tables = {
                "clinic": tables_of.clinic,
                "crowded": tables_of.crowded,
                "three": lambda: tables_of.clinic(3, has_harm=False),
                "empty": tables_of.empty,
            }[name]()
            folder = tmp_path_factory.mktemp(name)
            with Warehouse() as warehouse:
                tables_of.fill(warehouse, tables)
                made[name] = write_clinic_report(
                    AuditTables(warehouse, tables_of.WRITTEN_AT), folder
                )
        return made[name]

    return path_of

"""Build the follow-up tables of small clinics from a few lines of text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline import audit as audits
from tests.audits import audit_of

CASES = "case_id,patient_id,surgery_date,delivery_date,attachment,last_observed_date,exit_status\n"
VISITS = "case_id,visit_date,planned_visit,attended,minutes,denture_no\n"
EVENTS = "case_id,event_date,event,side,reason,denture_no\n"
DENTURES = "case_id,denture_no,delivery_date,attachment,end_date,end_reason\n"
HEADINGS = {"cases": CASES, "visits": VISITS, "events": EVENTS, "dentures": DENTURES}


def clinic(folder: Path, *, up_to: str = "measured", **sheets: list[str]) -> Path:
    """Run an audit over sheets given as lines; a sheet without lines is left out."""
    files: dict[str, Any] = {
        f"{name}.csv": HEADINGS[name] + "\n".join(lines) + "\n"
        for name, lines in sheets.items()
    }
    return audit_of(folder, files, up_to=up_to)


def code_of(folder: Path, number: str) -> str:
    """Return the code of a case number in an audit."""
    from pipeline.records.codes import Codebook

    return Codebook(audits.open_folder(folder).settings()).code_of("case", number)


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Keep the keys of a module's audits in one place."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys_of_module")))
        yield

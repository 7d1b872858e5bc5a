"""The page of checks says what the tables say, with an example for every check."""

import re

import pytest

from pipeline.bundled import folder
from pipeline.checked.checks import all_checks
from pipeline.reference import load
from pipeline.reported.check_pages import checks_text
from tests.spec.check_page import text, worked

ROWS = [
    row
    for path in sorted((load.FOLDER / "checks").glob("*.csv"))
    for row in load.rows(f"checks/{path.stem}")
]


def test_the_committed_page_is_what_the_tables_and_the_examples_say():
    committed = (folder("reports") / "CHECKS.md").read_text(encoding="utf-8")
    assert committed == text(), "write it again: make definitions"


def test_every_row_of_the_check_tables_stands_on_the_page_with_all_a_person_needs():
    page = text()
    parts = dict(re.findall(r"(?ms)^### `([^`]+)`\n\n(.*?)(?=^##|\Z)", page))
    assert set(parts) == {row["check_id"] for row in ROWS}
    for row in ROWS:
        told = parts[row["check_id"]]
        assert row["suggestion"] in told
        assert row["source"] in told
        assert row["why_limit"][1:] in told
        assert row["severity"] in told
        for line in ("Looks at", "Passes", "Why", "Sets aside", "You can", "Example"):
            assert f"- *{line}*: " in told


def test_a_check_without_an_example_cannot_be_shown():
    some = dict(worked())
    gone = {check.check_id for check in all_checks() if check.sheet == "visits"}
    for name in gone:
        some.pop(name, None)
    with pytest.raises(KeyError, match="no worked example"):
        checks_text(some)

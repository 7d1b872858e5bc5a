"""The lines at the end of a run say what was found and nothing about one row."""

import re

from pipeline.reported.summary import summary_lines
from pipeline.warehouse import Warehouse
from tests.integration import report_tables as tables_of


def lines_of(tables):
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables)
        return summary_lines(warehouse)


def test_harm_comes_first_then_cases_and_verdicts():
    lines = lines_of(tables_of.clinic())
    assert lines[0].startswith("3 entries for the treating clinician now")
    assert lines[1] == "40 cases, 74 implants measured"
    assert lines[2].startswith("Entry deviation: inside (Lab-made conventional guide")
    assert "provisional; 48 implants in 24 patients" in lines[2]
    assert lines[3].startswith("Angle between the two implants: inside")
    assert len(lines) == 4


def test_no_case_code_and_no_figure_of_a_row_is_said():
    tables = tables_of.clinic()
    text = "\n".join(lines_of(tables))
    assert not any(case["case_key"] in text for case in tables["measured.cases"])
    assert not re.search(r"\d\.\d", text)


def test_an_empty_audit_says_so():
    assert lines_of(tables_of.empty()) == [
        "0 cases, 0 implants measured",
        "no comparison with published figures is possible yet",
        "no row set aside",
    ]

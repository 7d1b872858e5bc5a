"""What came, what is missing and what was mended is counted from the records themselves."""

import pytest

from pipeline import commands
from tests.audits import audit_of, fill, opened, quiet

CASES = "case_id,jaw,operator_level,flap\nA-1,lower,resident,\nA-2,lower,,\n"
READINGS = (
    "case_id,state,quantity,value,source\n"
    "A-1,planned,angle_3d,2,protractor\nA-1,achieved,angle_3d,{value},protractor\n"
    "A-2,achieved,angle_3d,about 4,protractor\n"
)


@pytest.fixture
def audit(tmp_path):
    """Two cases and three readings, one of which is no number; loaded twice."""
    records = {"cases.csv": CASES, "pair_readings.csv": READINGS.format(value=3)}
    audit = audit_of(tmp_path, records)
    fill(audit, {"pair_readings.csv": READINGS.format(value=5)})
    commands.run(audit, "summarised", commands.Wishes(), quiet)
    return audit


def test_what_came_and_what_is_set_aside_is_counted_by_sheet(audit):
    with opened(audit) as store:
        found = store.run(
            "select sheet, count_files, count_rows, count_rows_held"
            " from summarised.records_received order by sheet"
        )
    assert found == [("cases", 1, 2, 0), ("pair_readings", 1, 3, 1)]


def test_a_field_is_missing_where_no_value_could_be_read(audit):
    with opened(audit) as store:
        found = store.run(
            "select field, count_missing, count_unreadable, share_missing"
            " from summarised.missing_fields"
            " where field in ('operator_level', 'flap', 'value', 'jaw') order by field"
        )
    assert found == [
        ("flap", 2, 0, 1.0),
        ("jaw", 0, 0, 0.0),
        ("operator_level", 1, 0, 0.5),
        ("value", 1, 1, pytest.approx(1 / 3)),
    ]


def test_a_changed_cell_is_counted_as_mended_without_name_or_value(audit):
    with opened(audit) as store:
        found = store.run("from summarised.mended")
    assert found == [("changed in the file", "the clinic's file, loaded again", 1)]


def test_a_case_without_a_figure_is_missing_from_that_stage_only(audit):
    with opened(audit) as store:
        stages = dict(
            store.run("select stage, count_cases from summarised.completeness")
        )
    assert stages["on the list"] == 2
    assert stages["operated"] == 2
    assert stages["operated, with a figure"] == 1

"""A records.duckdb of an earlier version goes on being used when fields are added."""

from pipeline.warehouse import Warehouse
from tests.audits import audit_of, fill, opened, quiet

FIRST = """\
case_id,side,state,view,tilt_deg,film_kind,reading
A,both,achieved,sagittal,4,lateral_skull,1
"""
MORE = """\
case_id,side,state,view,tilt_deg,difference_deg,film_kind
B,both,achieved,sagittal,5,3,lateral_skull
"""


def test_a_field_that_came_later_is_empty_in_the_rows_before_it(tmp_path):
    from pipeline import commands

    folder = audit_of(tmp_path / "a", {"films.csv": FIRST}, up_to="checked")
    with Warehouse(folder / "records.duckdb", root=folder) as records:
        records.run("alter table films drop column difference_deg")
    fill(folder, {"more/films.csv": MORE})
    commands.run(folder, "checked", commands.Wishes(), quiet)
    with opened(folder) as audit:
        rows = audit.run(
            "select tilt_deg, difference_deg from staged.films order by tilt_deg"
        )
    assert rows == [(4.0, None), (5.0, 3.0)]

"""A researcher's script: the audit as DataFrames."""

import subprocess
import sys

import numpy as np
import pytest

import pipeline as plumbpost
from pipeline.errors import NoSuchTable, NotAnAudit


def test_a_script_reads_tables_their_meaning_and_the_run(demo):
    audit = plumbpost.open_audit(demo)
    implants = audit.table("measured.implants")
    preferred = implants[implants.is_preferred]
    assert {"left", "right"} == set(preferred.side)

    meaning = audit.columns("measured.implants").set_index("column")
    assert list(meaning.index) == list(implants.columns)
    assert meaning.loc["entry_3d_mm", "unit"] == "mm"
    assert audit.run()["command"] == "plumbpost run DIR"

    values = audit.table("summarised.implant_values")
    overall = audit.table("summarised.accuracy").query(
        "measure == 'angle_deg' and group_by == 'overall'"
    )
    by_source = values.groupby(["basis", "achieved_source"])["angle_deg"].mean()
    assert np.isclose(by_source, overall["mean"].iloc[0]).any()


def test_every_table_can_be_read_whole(demo):
    audit = plumbpost.open_audit(str(demo))
    for name in audit.tables():
        assert list(audit.table(name).columns), name


def test_a_misspelt_table_is_answered_with_near_ones(demo):
    with pytest.raises(NoSuchTable, match=r"measured\.implants"):
        plumbpost.open_audit(demo).table("measured.implant")


def test_a_folder_that_is_no_audit_is_refused_and_left_alone(tmp_path):
    with pytest.raises(NotAnAudit):
        plumbpost.open_audit(tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_new_audit_says_that_it_must_be_run_first(tmp_path):
    from pipeline import audit as audits

    audits.create_folder(tmp_path / "new")
    with pytest.raises(NoSuchTable, match="plumbpost run"):
        plumbpost.open_audit(tmp_path / "new")


def test_importing_brings_nothing_heavy():
    code = "import sys, pipeline; print({'pandas', 'duckdb'} & set(sys.modules))"
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert said.stdout.strip() == "set()"

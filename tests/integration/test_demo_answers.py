"""The invented clinic: what is measured equals the answers known by construction."""

import csv
import math

import pytest

from pipeline import audit as audits
from pipeline.bundled import folder as bundled
from pipeline.records.codes import Codebook
from tests.audits import opened

TOLERANCE = 1e-6
"""The committed answers carry ten decimals."""


def answers(name):
    path = bundled("synthetic_data") / "expected" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def code(demo):
    book = Codebook(audits.open_folder(demo).settings())
    return lambda number: book.code_of("case", number)


def measured(demo, table, keys):
    with opened(demo) as audit:
        rows = audit.frame(f"select * from {table}").to_dict("records")
    return {tuple(row[key] for key in keys): row for row in rows}


def assert_same(got, expected, names, where):
    for name in names:
        wanted, value = expected[name], got[name]
        is_null = value is None or (isinstance(value, float) and math.isnan(value))
        if wanted == "":
            assert is_null, (where, name, value)
        else:
            assert value == pytest.approx(float(wanted), abs=TOLERANCE), (where, name)


def test_every_implant_without_a_planted_fault_measures_as_known(demo, code):
    keys = ("case_key", "side", "basis", "achieved_source")
    got = measured(demo, "measured.implants", keys)
    expected = [row for row in answers("implants") if row["has_fault"] == "no"]
    names = [
        n
        for n in expected[0]
        if n in next(iter(got.values())) and n.endswith(("_mm", "_deg"))
    ]
    names = [n for n in names if not n.endswith(("_sd_mm", "_sd_deg"))]
    assert len(expected) > 80
    assert len(names) > 12
    for row in expected:
        key = (
            code(row["case_id"]),
            row["side"],
            row["basis"],
            row["achieved_source"],
        )
        assert_same(got[key], row, names, key[1:])


def test_every_pair_without_a_planted_fault_measures_as_known(demo, code):
    got = measured(demo, "measured.pairs", ("case_key", "basis", "achieved_source"))
    expected = [row for row in answers("pairs") if row["state"] in {"", "achieved"}]
    names = [
        n
        for n in expected[0]
        if n in next(iter(got.values())) and n.endswith(("_mm", "_deg"))
    ]
    assert len(expected) > 50
    for row in expected:
        key = (code(row["case_id"]), row["basis"], row["achieved_source"])
        assert_same(got[key], row, names, (row["case_id"], *key[1:]))


def test_every_planted_fault_is_found_in_its_row(demo):
    with opened(demo) as audit:
        found = set(audit.run("select sheet, row_number from checked.findings"))
        pairs = set(
            audit.run(
                "select distinct sheet from checked.findings where reach = 'case'"
            )
        )
    for fault in answers("faults"):
        row = int(fault["row"]) if fault["row"] else None
        assert (fault["sheet"], row) in found or (fault["sheet"],) in pairs, fault


def test_no_row_without_a_planted_fault_is_set_aside(demo):
    with opened(demo) as audit:
        held = set(
            audit.run(
                "select h.sheet, s.row_number from checked.held as h"
                " inner join (select row_id, row_number from staged.implants"
                " union all select row_id, row_number from staged.deviations"
                " union all select row_id, row_number from staged.cast_readings"
                " union all select row_id, row_number from staged.pair_readings"
                " union all select row_id, row_number from staged.cases) as s using (row_id)"
            )
        )
    planted = {(f["sheet"], int(f["row"])) for f in answers("faults") if f["row"]}
    near = {(sheet, row + step) for sheet, row in planted for step in (-1, 0, 1)}
    assert held <= near, held - near

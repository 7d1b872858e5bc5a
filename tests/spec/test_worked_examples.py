"""Every definition as a worked example: a small sheet in, the expected figures out."""

import math

import pytest

from pipeline.reference import load
from tests.audits import audit_of, opened

EXAMPLES = load.worked_examples()


@pytest.mark.parametrize(
    "example", EXAMPLES, ids=[e["sentence"][:60] for e in EXAMPLES]
)
def test_the_example_measures_as_it_says(example, tmp_path):
    sheets = {example["sheet"]: example["rows"]} | example.get("also", {})
    files = {f"{name}.csv": rows.lstrip("\n") for name, rows in sheets.items()}
    folder = audit_of(tmp_path / "a", files, up_to=example["table"].partition(".")[0])
    with opened(folder) as audit:
        found = audit.frame(f"select * from {example['table']}").to_dict("records")
    for key in ("side", "achieved_source"):
        if key in example:
            found = [row for row in found if row[key] == example[key]]
    assert len(found) == 1
    for name, expected in example["expected"].items():
        value = found[0][name]
        if expected == "null":
            assert value is None or math.isnan(value), name
        else:
            tolerance = example.get("tolerance", 1e-9)
            assert value == pytest.approx(expected, abs=tolerance), name


@pytest.mark.parametrize(
    "example", EXAMPLES, ids=[e["sentence"][:60] for e in EXAMPLES]
)
def test_the_example_says_what_it_defines_and_where_it_comes_from(example):
    columns = {row["column"] for row in load.rows("columns")}
    fields = {field.field for field in load.fields()}
    assert set(example["defines"]) <= columns | fields
    assert example["source"]
    assert example["sentence"].endswith(".")

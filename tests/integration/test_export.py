"""The exported data set says what the audit measured, and its papers say what it holds."""

import csv
import hashlib
import json
import re
from collections import defaultdict

import duckdb
import pytest

from pipeline import audit as audits
from pipeline.sharing.columns import exported, key_of, quasi_identifiers
from pipeline.sharing.taking_out import take_out
from tests.audits import opened

TABLES = tuple(exported())


def take(demo, to, relink=None, k=5):
    audit = audits.open_folder(demo)
    return take_out(audit, audit.settings(), to, k=k, relink=relink)


@pytest.fixture(scope="module")
def export(demo, tmp_path_factory):
    """An export of the invented clinic, with the list that leads its codes back."""
    place = tmp_path_factory.mktemp("export")
    take(demo, place / "out", place / "relink.csv")
    return place / "out"


@pytest.fixture(scope="module")
def codes(export):
    with (export.parent / "relink.csv").open(encoding="utf-8", newline="") as handle:
        return {
            row["code_of_the_export"]: row["code_of_the_audit"]
            for row in csv.DictReader(handle)
        }


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.mark.parametrize("table", TABLES)
def test_csv_and_parquet_hold_the_same_rows_in_the_same_order(export, table):
    of_csv = duckdb.sql(
        f"select * from read_csv('{export}/csv/{table}.csv', all_varchar = true)"
    ).fetchall()
    of_parquet = duckdb.sql(
        f"select columns(*)::varchar from '{export}/parquet/{table}.parquet'"
    ).fetchall()
    assert of_csv == of_parquet
    assert of_csv


@pytest.mark.parametrize(
    ("table", "source", "figure"),
    [
        ("implants", "measured.implants", "entry_3d_mm"),
        ("implants", "measured.implants", "frontal_tilt_change_deg"),
        ("pairs", "measured.pairs", "pair_rotation_deg"),
        ("motions", "measured.common_motion", "roll_deg"),
        ("dentures", "measured.exposure", "exposure_years"),
        ("events", "measured.attachment_events", "years_after_delivery"),
    ],
)
def test_figures_leave_as_they_were_measured(
    demo, export, codes, table, source, figure
):
    exported_figures = sorted(
        (codes[row["case_code"]], float(row[figure]))
        for row in rows_of(export / "csv" / f"{table}.csv")
        if row[figure]
    )
    with opened(demo) as audit:
        measured = audit.run(
            f"select s.case_key, s.{figure} from {source} as s"
            " inner join summarised.cases_used as k on s.case_key = k.case_key"
            f" where s.{figure} is not null order by all"
        )
    assert exported_figures == measured


def test_days_are_counted_from_the_surgery_of_the_case(demo, export, codes):
    with opened(demo) as audit:
        days = dict(
            audit.run(
                """select case_key, date_diff('day', surgery_date, delivery_date)
                from measured.cases"""
            )
        )
    rows = rows_of(export / "csv" / "cases.csv")
    assert any(row["delivery_days"] for row in rows)
    for row in rows:
        told = int(row["delivery_days"]) if row["delivery_days"] else None
        assert told == days[codes[row["case_code"]]]


@pytest.mark.parametrize("table", TABLES)
def test_the_order_of_rows_follows_the_random_codes(export, table):
    rows = rows_of(export / "csv" / f"{table}.csv")
    name = next(c.name for c in exported()[table] if c.form == "fresh_code")
    assert [row[name] for row in rows] == sorted(row[name] for row in rows)


def test_two_exports_of_one_audit_share_no_code(demo, export, tmp_path):
    take(demo, tmp_path / "again", tmp_path / "relink.csv")
    first = {r["code_of_the_export"] for r in rows_of(export.parent / "relink.csv")}
    again = {r["code_of_the_export"] for r in rows_of(tmp_path / "relink.csv")}
    assert len(first) == len(again)
    assert first.isdisjoint(again)


@pytest.mark.parametrize("k", [2, 5, 20])
def test_the_marked_groups_are_those_of_fewer_patients_than_k(demo, tmp_path, k):
    # counted again here, a combination at a time
    taken = take(demo, tmp_path / "out", k=k)
    cases = rows_of(tmp_path / "out" / "csv" / "cases.csv")
    groups = defaultdict(set)
    for row in cases:
        groups[tuple(row[q] for q in quasi_identifiers())].add(row["patient_code"])
    for row in cases:
        n = len(groups[tuple(row[q] for q in quasi_identifiers())])
        assert row["is_in_small_group"] == str(n < k).lower()
    told = {
        tuple(row[q] for q in quasi_identifiers()): int(row["n_patients"])
        for row in rows_of(tmp_path / "out" / "groups.csv")
        if row["shared"] == "all of them"
    }
    assert told == {combination: len(held) for combination, held in groups.items()}
    small = [held for held in groups.values() if len(held) < k]
    assert taken.n_in_small_groups == len(set().union(*small))


def test_the_manifest_has_the_hash_and_size_of_every_other_file(export):
    manifest = json.loads((export / "manifest.json").read_text(encoding="utf-8"))
    files = [p for p in export.rglob("*") if p.is_file() and p.name != "manifest.json"]
    assert {p.relative_to(export).as_posix() for p in files} == set(manifest["files"])
    for path in files:
        told = manifest["files"][path.relative_to(export).as_posix()]
        assert told["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
        assert told["bytes"] == path.stat().st_size
    for table, count in manifest["rows"].items():
        assert count == len(rows_of(export / "csv" / f"{table}.csv"))


def test_the_dictionary_has_a_row_for_every_column_in_its_order(export):
    told = [(r["table"], r["column"]) for r in rows_of(export / "dictionary.csv")]
    held = []
    for table in TABLES:
        with (export / "csv" / f"{table}.csv").open(encoding="utf-8") as handle:
            held += [(table, name) for name in next(csv.reader(handle))]
    assert told == held


CASTS = {
    "string": str,
    "number": float,
    "integer": int,
    "boolean": {"true": True, "false": False}.__getitem__,
}
"""How Table Schema reads a cell of a type, missing values aside."""


def test_the_descriptor_keeps_to_the_data_package_standard(export):
    # Data Package and Table Schema, version 1: specs.frictionlessdata.io/data-package,
    # /tabular-data-resource, /table-schema (names, required properties, types, constraints)
    package = json.loads((export / "datapackage.json").read_text(encoding="utf-8"))
    assert package["profile"] == "tabular-data-package"
    assert re.fullmatch(r"[-a-z0-9._/]+", package["name"])
    names = {resource["name"] for resource in package["resources"]}
    assert names == set(TABLES)
    for resource in package["resources"]:
        assert resource["profile"] == "tabular-data-resource"
        path = export / resource["path"]
        assert resource["bytes"] == path.stat().st_size
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        assert resource["hash"] == f"sha256:{digest}"
        _reads_by_its_schema(resource["schema"], rows_of(path))
        for link in resource["schema"].get("foreignKeys", []):
            home = link["reference"]
            assert home["resource"] in names
            held = {
                r[home["fields"]]
                for r in rows_of(export / f"csv/{home['resource']}.csv")
            }
            assert {row[link["fields"]] for row in rows_of(path)} <= held


def _reads_by_its_schema(schema, rows):
    assert [field["name"] for field in schema["fields"]] == list(rows[0])
    for field in schema["fields"]:
        cells = [row[field["name"]] for row in rows]
        for cell in filter(None, cells):
            CASTS[field["type"]](cell)
        if field.get("constraints", {}).get("required"):
            assert all(cells), field["name"]
    key = schema.get("primaryKey", [])
    held = [tuple(row[name] for name in key) for row in rows]
    assert not key or len(set(held)) == len(held)


def test_a_key_of_the_export_is_the_grain_of_its_table():
    assert key_of("implants") == (
        "case_code",
        "implant_code",
        "basis",
        "achieved_source",
    )
    assert key_of("visits") == ()

"""The committed clinic is what the generator makes, and what the sheets allow."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl import load_workbook

from pipeline.bundled import CHECKOUT_ROOT, folder
from pipeline.reference import load
from synthetic_data.demo import Sheet
from synthetic_data.draw_clinic import make_clinic
from synthetic_data.faults import WORKBOOK
from synthetic_data.files import columns_of, write_workbook
from synthetic_data.generate import demo_sheets, generate, main, write_coordinates_csv
from synthetic_data.many import write_cases_csv

HOME = folder("synthetic_data")
MOST_BYTES = 400_000


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("made")
    generate(out)
    return out


@pytest.fixture(scope="module")
def sheets() -> dict[str, Sheet]:
    return demo_sheets()[0]


def cells(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    workbook = load_workbook(path)
    return {tab.title: list(tab.iter_rows(values_only=True)) for tab in workbook}


def test_the_generator_makes_the_committed_csv_files_byte_for_byte(made: Path) -> None:
    committed = sorted(
        path.relative_to(HOME)
        for name in ("clinic", "expected")
        for path in (HOME / name).rglob("*.csv")
    )
    assert len(committed) == 7
    for path in committed:
        assert (made / path).read_bytes() == (HOME / path).read_bytes(), path


def test_the_generator_makes_the_committed_workbook_cell_for_cell(made: Path) -> None:
    again, committed = (cells(home / "clinic" / WORKBOOK) for home in (made, HOME))
    assert list(again) == list(committed)
    for tab, rows in committed.items():
        assert again[tab] == rows, tab


def test_two_workbooks_of_one_clinic_are_the_same_bytes(
    made: Path, tmp_path: Path, sheets: dict[str, Sheet]
) -> None:
    tabs = {name: sheets[name] for name in cells(made / "clinic" / WORKBOOK)}
    write_workbook(tmp_path / "again.xlsx", tabs)
    again = (tmp_path / "again.xlsx").read_bytes()
    assert again == (made / "clinic" / WORKBOOK).read_bytes()


def test_another_seed_makes_another_clinic(tmp_path: Path) -> None:
    generate(tmp_path, seed=20260900)
    path = Path("expected") / "implants.csv"
    assert (tmp_path / path).read_bytes() != (HOME / path).read_bytes()


def test_the_command_line_says_what_it_wrote(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readme = tmp_path / "README.md"
    shutil.copy(HOME / "README.md", readme)
    assert main([str(tmp_path / "out"), "--readme", str(readme)]) == 0
    written = [Path(line) for line in capsys.readouterr().out.splitlines()]
    assert len(written) == 8
    assert all(path.is_file() for path in written)
    assert readme.read_bytes() == (HOME / "README.md").read_bytes()


def test_the_committed_clinic_is_small() -> None:
    kept = [p for p in HOME.rglob("*") if p.is_file() and "__pycache__" not in p.parts]
    assert sum(path.stat().st_size for path in kept) < MOST_BYTES


def test_the_counts_are_those_the_readme_tells(sheets: dict[str, Sheet]) -> None:
    cases = sheets["cases"]
    operated = [row for row in cases if row.get("surgery_date") is not None]
    assert (len(cases), len(operated)) == (54, 48)
    in_coordinates = {
        row["case_id"] for row in sheets["implants"] if row.get("achieved_source")
    }
    assert len(in_coordinates) == 24
    assert len({row["case_id"] for row in sheets["deviations"]}) == 10
    by_ruler = {
        row["case_id"] for row in sheets["cast_readings"] if row["state"] == "achieved"
    }
    assert len(by_ruler) == 14
    assert not by_ruler & in_coordinates
    read_as_pair = {
        row["case_id"]
        for row in sheets["pair_readings"]
        if row["source"] == "callipers_on_pins"
    }
    assert len(read_as_pair) == 12
    repeated = {row["case_id"] for row in sheets["implants"] if row.get("reading") == 3}
    assert len(repeated) == 5
    surgeries = [row["surgery_date"] for row in operated]
    assert surgeries == sorted(surgeries)
    assert {day.year for day in surgeries if isinstance(day, date)} == {
        2023,
        2024,
        2025,
    }


def test_half_the_plans_stand_eight_and_half_eleven_from_the_midline() -> None:
    cases = make_clinic(48, seed=3)["cases"]
    assert sorted(cases["half_spacing_mm"]) == [8] * 24 + [11] * 24


def words_of_codes(sheets: dict[str, Sheet]) -> Iterator[tuple[str, str, str]]:
    for sheet, rows in sheets.items():
        coded = {
            field.field: field.codes
            for field in load.fields(sheet)
            if field.kind in ("code", "yes_no")
        }
        for row in rows:
            for name, codes in coded.items():
                if row.get(name) is not None and str(row[name]) not in codes:
                    yield sheet, name, str(row[name])


def test_every_code_word_is_allowed_but_the_planted_one(
    sheets: dict[str, Sheet],
) -> None:
    assert list(words_of_codes(sheets)) == [("events", "event", "ring changed")]


def test_every_cell_has_the_kind_of_its_field_but_the_planted_one(
    sheets: dict[str, Sheet],
) -> None:
    kinds: dict[str, type | tuple[type, ...]] = {
        "number": (int, float),
        "whole": int,
        "date": date,
        "text": str,
        "code": str,
        "yes_no": str,
    }
    strange = [
        (sheet, field.field, row[field.field])
        for sheet, rows in sheets.items()
        for field in load.fields(sheet)
        for row in rows
        if row.get(field.field) is not None
        and not isinstance(row[field.field], kinds[field.kind])
    ]
    assert strange == [("pair_readings", "value", "3.2 approx")]


def test_required_cells_are_filled_and_keys_unique_but_for_the_duplicate(
    sheets: dict[str, Sheet],
) -> None:
    twice = []
    for sheet, rows in sheets.items():
        needed = [field.field for field in load.fields(sheet) if field.is_required]
        keys = [field.field for field in load.fields(sheet) if field.is_key]
        seen = set()
        for row in rows:
            assert all(row.get(name) is not None for name in needed)
            key = tuple(row.get(name) for name in keys)
            if key in seen:
                twice.append((sheet, row["case_id"]))
            seen.add(key)
    assert twice == [("implants", "K108")]


def test_dates_run_in_order_but_for_the_planted_visit(
    sheets: dict[str, Sheet],
) -> None:
    order = ("plan_date", "surgery_date", "delivery_date", "last_observed_date")
    delivered = {}
    for row in sheets["cases"]:
        days = [row[name] for name in order if row.get(name) is not None]
        assert days == sorted(days)
        delivered[row["case_id"]] = row.get("delivery_date")
        assert max(days) <= date(2026, 6, 30)
    early = [
        (row["case_id"], row["visit_date"])
        for row in sheets["visits"]
        if row["visit_date"] < delivered[row["case_id"]]
    ]
    assert [case for case, _ in early] == ["K119"]
    before = {
        row["event"]
        for row in sheets["events"]
        if row["event_date"] < delivered[row["case_id"]]
    }
    assert before == {"altered_sensation"}


def test_a_column_no_sheet_knows_is_refused() -> None:
    with pytest.raises(KeyError, match="guides has no field colour"):
        columns_of("guides", [{"guide_id": "G1", "colour": "red"}])


def test_ready_figures_come_as_another_office_writes_them() -> None:
    raw = (HOME / "clinic" / "ready_figures.csv").read_bytes()
    assert b";" in raw
    assert b"\r\n" in raw
    assert "Möllvang".encode("cp1252") in raw
    with pytest.raises(UnicodeDecodeError):
        raw.decode("utf-8")
    assert b"." not in raw


def test_workbook_dates_are_dates() -> None:
    headings, first, *_ = cells(HOME / "clinic" / WORKBOOK)["cases"]
    row = dict(zip(headings, first, strict=True))
    assert isinstance(row["surgery_date"], datetime)


def test_many_cases_are_written_as_one_implants_sheet(tmp_path: Path) -> None:
    paths = [tmp_path / "implants.csv", tmp_path / "again.csv"]
    for path in paths:
        write_coordinates_csv(path, 1000, seed=5)
    assert paths[0].read_bytes() == paths[1].read_bytes()
    with paths[0].open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 2000
    assert set(rows[0]) <= {field.field for field in load.fields("implants")}
    assert len({row["case_id"] for row in rows}) == 1000
    assert {row["side"] for row in rows} == {"left", "right"}
    lengths = [
        np.linalg.norm(
            [
                float(row[f"achieved_entry_{axis}_mm"])
                - float(row[f"achieved_apex_{axis}_mm"])
                for axis in "xyz"
            ]
        )
        - float(row["placed_length_mm"])
        for row in rows
    ]
    assert np.abs(lengths).max() < 0.02


def test_many_cases_have_a_cases_sheet_that_joins(tmp_path: Path) -> None:
    write_cases_csv(tmp_path / "cases.csv", 500, seed=5)
    write_coordinates_csv(tmp_path / "implants.csv", 500, seed=5)
    with (tmp_path / "cases.csv").open(encoding="utf-8", newline="") as handle:
        cases = list(csv.DictReader(handle))
    with (tmp_path / "implants.csv").open(encoding="utf-8", newline="") as handle:
        implants = {row["case_id"] for row in csv.DictReader(handle)}
    assert {row["case_id"] for row in cases} == implants
    allowed = {field.field: field.codes for field in load.fields("cases")}
    for row in cases:
        assert row["guidance"] in allowed["guidance"]
        assert row["operator_level"] in allowed["operator_level"]
        assert row["guide_method"] in allowed["guide_method"]


def test_blocks_run_on_without_repeating(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("synthetic_data.many.CASES_A_BLOCK", 96)
    write_coordinates_csv(tmp_path / "implants.csv", 250, seed=5)
    with (tmp_path / "implants.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [row["case_id"] for row in rows[::2]] == [f"K{n + 1}" for n in range(250)]
    entries = [row["achieved_entry_x_mm"] for row in rows]
    assert entries[:192] != entries[192:384]


def test_a_wheel_layout_imports_it_without_the_rest_of_the_package(
    tmp_path: Path,
) -> None:
    """In a wheel the folder lies in pipeline/_bundled; it needs only the fields."""
    ignore = shutil.ignore_patterns("__pycache__")
    package = tmp_path / "pipeline"
    shutil.copytree(CHECKOUT_ROOT / "pipeline", package, ignore=ignore)
    shutil.copytree(HOME, package / "_bundled" / "synthetic_data", ignore=ignore)
    script = (
        "import sys\n"
        "from pathlib import Path\n"
        "from pipeline._bundled.synthetic_data import generate as made\n"
        "made.generate(Path('out'))\n"
        "heavy = {'duckdb', 'pandas', 'scipy'} & set(sys.modules)\n"
        "ours = {n for n in sys.modules if n.split('.')[0] == 'pipeline'}\n"
        "ours = {n for n in ours if '_bundled' not in n}\n"
        "print(sorted(heavy), sorted(ours))\n"
    )
    found = subprocess.run(
        [sys.executable, "-S", "-c", script],
        cwd=tmp_path,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(
                [str(tmp_path), sysconfig.get_paths()["purelib"]]
            ),
        },
        capture_output=True,
        text=True,
        check=True,
    )
    expected = "[] ['pipeline', 'pipeline.reference', 'pipeline.reference.load']\n"
    assert found.stdout == expected
    path = Path("expected") / "pairs.csv"
    assert (tmp_path / "out" / path).read_bytes() == (HOME / path).read_bytes()


def test_it_runs_as_a_script(tmp_path: Path) -> None:
    found = subprocess.run(
        [sys.executable, str(HOME / "generate.py"), "out", "--seed", "20260900"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert len(found.stdout.splitlines()) == 8
    assert (tmp_path / "out" / "clinic" / WORKBOOK).is_file()

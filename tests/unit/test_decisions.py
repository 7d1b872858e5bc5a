"""decisions.csv: one line for everything a person decided, lines only ever added."""

import csv
from datetime import datetime

import pytest

from pipeline.records import decisions
from pipeline.records.decisions import Decision
from pipeline.warehouse import Warehouse

AT = datetime(2026, 3, 2, 10, 30)  # noqa: DTZ001 - stored without a zone
OUT = Decision("leave out", "log.xlsx, implants, row 7", "typed twice")
CELL = Decision("corrected", "log.xlsx, implants, row 8", "chart", "reading", "", "2")


@pytest.fixture
def store():
    with Warehouse() as warehouse:
        warehouse.run(decisions.TABLE)
        yield warehouse


def lines(folder):
    with (folder / "decisions.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_a_decision_is_one_line_with_who_when_what_and_why(store, tmp_path):
    decisions.note(store, [CELL], by="R. Ames", at=AT)
    assert decisions.append_to_csv(store, tmp_path) == ""
    (line,) = lines(tmp_path)
    assert line.pop("decision")
    assert line == {
        "date": "2026-03-02T10:30:00+00:00",
        "who": "R. Ames",
        "answer": "corrected",
        "about": "log.xlsx, implants, row 8",
        "field": "reading",
        "old": "",
        "new": "2",
        "why": "chart",
    }


def test_lines_are_added_and_never_written_twice(store, tmp_path):
    decisions.note(store, [OUT], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    decisions.append_to_csv(store, tmp_path)
    decisions.note(store, [CELL], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    assert [line["answer"] for line in lines(tmp_path)] == ["leave out", "corrected"]


def test_what_a_lost_database_held_stays_in_the_file(store, tmp_path):
    decisions.note(store, [OUT], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    store.run("delete from decisions")
    decisions.note(store, [CELL], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    assert len(lines(tmp_path)) == 2


def test_a_file_that_a_spreadsheet_saved_with_semicolons_is_kept_so(store, tmp_path):
    decisions.note(store, [OUT], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    path = tmp_path / "decisions.csv"
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    text = "\r\n".join(";".join(row) for row in rows)
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    decisions.note(store, [CELL], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    saved = path.read_text(encoding="utf-8-sig").splitlines()
    assert [line.count(";") for line in saved] == [8, 8, 8]


def test_a_file_that_cannot_be_written_is_said_and_made_up_for_later(store, tmp_path):
    decisions.note(store, [OUT], by="", at=AT)
    (tmp_path / "decisions.csv").mkdir()
    assert "decisions.csv" in decisions.append_to_csv(store, tmp_path)
    (tmp_path / "decisions.csv").rmdir()
    assert decisions.append_to_csv(store, tmp_path) == ""
    assert len(lines(tmp_path)) == 1


def test_a_reason_that_looks_like_a_formula_is_made_harmless(store, tmp_path):
    decisions.note(store, [Decision("corrected", "x", "=1+1")], by="", at=AT)
    decisions.append_to_csv(store, tmp_path)
    assert lines(tmp_path)[0]["why"] == "'=1+1"

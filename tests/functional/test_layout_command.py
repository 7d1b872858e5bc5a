"""plumbpost layout, as a person types it: prints a proposal, or asks and writes it."""

import sys

import click
import pytest

from pipeline import audit as audits
from pipeline.records.layouts import layout_of, read_layout
from tests.audits import invoke, plumbpost

THEIRS = "Case,Site,Entry dev,Op date\nP1,22,1.2,3/4/2026\nP1,27,0.9,3/4/2026\n"


@pytest.fixture
def folder(tmp_path):
    place = audits.create_folder(tmp_path / "my audit ü").folder
    (place / "records" / "Their sheet.csv").write_text(THEIRS, encoding="utf-8")
    return place


@pytest.fixture
def typed(monkeypatch):
    """Let a test type answers; fails when more are asked for."""

    def type_in(*answers: str) -> None:
        waiting = list(answers)
        monkeypatch.setattr(click, "prompt", lambda *_, **__: waiting.pop(0))

    return type_in


def test_the_proposal_goes_to_standard_output_and_is_a_layout(folder, capsys):
    file = folder / "records" / "Their sheet.csv"
    code, out, err = invoke(capsys, "layout", file)
    assert code == 0
    assert layout_of(out.encode(), name="their_sheet").open_points
    assert "3 to confirm" in err
    assert not list((folder / "layouts").iterdir())


def test_asking_writes_the_layout_into_the_audit_the_file_lies_in(
    folder, capsys, typed
):
    file = folder / "records" / "Their sheet.csv"
    typed("universal", "cbct", "m/d/y")
    code, out, err = invoke(capsys, "layout", file, "--ask")
    assert code == 0
    assert out == ""
    assert "such as: 22   27" in err, "cells are shown to the person who asked"
    layout = read_layout(folder / "layouts" / "their_sheet.toml")
    assert layout.open_points == ()
    code, _, err = invoke(capsys, "load", folder)
    assert code == 0
    assert "2 rows of deviations" in err


def test_an_answer_that_is_none_of_the_ways_is_asked_again(folder, capsys, typed):
    typed("maybe", "", "cbct", "", "d.m.y")
    code, _, err = invoke(
        capsys, "layout", folder / "records" / "Their sheet.csv", "--ask"
    )
    assert code == 0
    assert err.count("Please type one of:") == 2, "no guess stands for the days"


def test_later_leaves_the_point_open_and_says_so(folder, capsys, typed):
    typed("later", "later", "later")
    _, _, err = invoke(
        capsys, "layout", folder / "records" / "Their sheet.csv", "--ask"
    )
    assert "3 to confirm" in err
    code, _, err = invoke(capsys, "run", folder)
    assert code == 3
    assert "must be confirmed first" in err


def test_a_layout_that_is_there_is_never_overwritten(folder, capsys, typed):
    (folder / "layouts" / "their_sheet.toml").write_text("# mine", encoding="utf-8")
    typed()
    code, _, err = invoke(
        capsys, "layout", folder / "records" / "Their sheet.csv", "--ask"
    )
    assert code == 2
    assert "is there already" in err
    assert (folder / "layouts" / "their_sheet.toml").read_text() == "# mine"


def test_asking_outside_an_audit_says_where_to_put_the_file(
    tmp_path, capsys, typed, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text(THEIRS, encoding="utf-8")
    typed()
    code, _, err = invoke(capsys, "layout", tmp_path / "a.csv", "--ask")
    assert code == 2
    assert "lies in no audit folder" in err


@pytest.mark.parametrize("content", [None, "", "Apples,Pears\n1,2\n"])
def test_a_file_that_cannot_be_used_gets_a_sentence(tmp_path, capsys, content):
    if content is not None:
        (tmp_path / "a.csv").write_text(content, encoding="utf-8")
    code, out, err = invoke(capsys, "layout", tmp_path / "a.csv")
    assert code == 3
    assert out == ""
    assert "a.csv" in err


def test_a_tab_can_be_named(tmp_path, capsys):
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = "Positions"
    book.active.append(["Case", "Site", "Entry dev"])
    book.active.append(["P1", 33, 1.2])
    other = book.create_sheet("Casts")
    other.append(["Case", "Side", "Midline"])
    other.append(["P1", "left", 8])
    book.save(tmp_path / "a.xlsx")
    _, out, _ = invoke(capsys, "layout", tmp_path / "a.xlsx", "--tab", "casts")
    assert 'sheet = "cast_readings"' in out
    assert 'tab = "Casts"' in out


def test_a_broken_layout_stops_a_run_with_a_sentence(folder, capsys):
    (folder / "layouts" / "x.toml").write_text("needs = [", encoding="utf-8")
    code, _, err = invoke(capsys, "run", folder)
    assert code == 2
    assert "layouts/x.toml cannot be read" in err
    assert "Traceback" not in err


def test_help_loads_nothing_heavy():
    done = plumbpost("layout", "--help")
    assert done.returncode == 0
    code = (
        "import sys; sys.argv = ['plumbpost', 'layout', '--help']\n"
        "from pipeline.__main__ import plumbpost\n"
        "try:\n    plumbpost.main(standalone_mode=False)\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'numpy', 'scipy', 'duckdb', 'openpyxl'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    import subprocess

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

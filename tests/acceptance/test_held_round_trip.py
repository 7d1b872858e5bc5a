"""From the rows set aside to none, with nothing but the workbook and the chart.

The invented clinic has a fault of every common kind. Somebody who has never seen the
tool corrects them where they stand, says why, and runs again.
"""

import csv

import pytest

from pipeline import audit as audits
from pipeline.bundled import folder as bundled
from pipeline.records.codes import Codebook
from synthetic_data import generate
from tests.audits import invoke, opened, records_of
from tests.held_workbook import HeldWorkbook, newest

POINTS = [f"{point}_{axis}_mm" for point in ("entry", "apex") for axis in "xyz"]
TOLERANCE = 1e-9


def planted():
    path = bundled("synthetic_data") / "expected" / "faults.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture
def clean(monkeypatch):
    """The clinic without its faults: its record sheets and the answers known of them."""
    monkeypatch.setattr(generate, "plant", lambda _: [])
    sheets, _, answers = generate.demo_sheets()
    return sheets, answers


def put_right(book, chart):
    """Correct what faults.csv plants, as a person reading the workbook would."""
    for fault in planted():
        row, kind = int(fault["row"]), fault["kind"]
        if kind == "visit_before_delivery":
            assert "visits" not in book.book.sheetnames, "only noticed, not set aside"
            continue
        CORRECT[kind](book, fault["sheet"], row, chart)


def exchange_sides(book, sheet, row, _):
    other = row + 1 if book.value(sheet, row, "side") == "left" else row - 1
    if book.value(sheet, other, "answer"):
        return
    here, there = book.values(sheet, row), book.values(sheet, other)
    for place, cells in ((row, there), (other, here)):
        book.answer(
            sheet,
            place,
            "corrected",
            "left and right were exchanged, see the scan",
            **{f"achieved_{point}": cells[f"achieved_{point}"] for point in POINTS},
        )


def exchange_ends(book, sheet, row, _):
    cells = book.values(sheet, row)
    changed = {}
    for axis in "xyz":
        entry, apex = f"achieved_entry_{axis}_mm", f"achieved_apex_{axis}_mm"
        changed |= {entry: cells[apex], apex: cells[entry]}
    book.answer(sheet, row, "corrected", "entry and apex were exchanged", **changed)


def to_millimetres(book, sheet, row, _):
    cells = book.values(sheet, row)
    names = [
        f"{state}_{point}" for state in ("planned", "achieved") for point in POINTS
    ]
    changed = {name: round(cells[name] * 10, 2) for name in names}
    book.answer(sheet, row, "Corrected ", "was exported in centimetres", **changed)


def leave_out(book, sheet, row, _):
    book.answer(sheet, row, "leave out", "typed twice")


def write_the_number(book, sheet, row, chart):
    cells = book.values(sheet, row)
    assert cells["value"] == "3.2 approx"
    key = ("case_id", "state", "quantity", "source")
    (read,) = [
        one["value"]
        for one in chart[sheet]
        if all(one[name] == cells[name] for name in key)
    ]
    # no answer chosen: a changed cell with a reason says enough
    book.type(sheet, row, value=read, why="the reading in the chart")


def choose_the_word(book, sheet, row, _):
    assert book.value(sheet, row, "event") == "ring changed"
    book.answer(sheet, row, "corrected", "a new insert", event="insert_renewed")


CORRECT = {
    "sides_exchanged": exchange_sides,
    "entry_apex_exchanged": exchange_ends,
    "centimetres": to_millimetres,
    "duplicate_row": leave_out,
    "not_a_number": write_the_number,
    "unknown_code": choose_the_word,
}


def assert_measured(folder, clean, table, keys):
    """Every figure known of the clean clinic is what the audit measures."""
    codes = Codebook(audits.open_folder(folder).settings())
    with opened(folder) as audit:
        rows = audit.frame(f"select * from {table}").to_dict("records")
    got = {tuple(row[key] for key in keys): row for row in rows}
    names = [name for name in rows[0] if name.endswith(("_mm", "_deg"))]
    names = [name for name in names if not name.endswith(("_sd_mm", "_sd_deg"))]
    count = 0
    for row in clean:
        if row.get("state", "achieved") not in {"", None, "achieved"}:
            continue
        where = (codes.code_of("case", row["case_id"]), *(row[k] for k in keys[1:]))
        for name in names:
            if row.get(name) is not None:
                close = pytest.approx(float(row[name]), abs=TOLERANCE)
                assert got[where][name] == close, (where, name)
                count += 1
    return count


def test_a_person_gets_from_the_workbook_to_no_row_set_aside(tmp_path, capsys, clean):
    folder = tmp_path / "clinic"
    assert invoke(capsys, "demo", folder)[0] == 0
    code, out, err = invoke(capsys, "held", folder)
    assert (code, out) == (0, "")
    assert "8 rows of 6 cases" in err
    assert str(newest(folder)) in err

    book = HeldWorkbook(newest(folder))
    put_right(book, clean[0])
    book.save()
    code, _, err = invoke(capsys, "run", folder, "--strict")
    assert code == 0, err
    assert "no row set aside" in err
    assert "6 rows corrected, 1 row left out" in err
    with opened(folder) as audit:
        assert audit.value("select count(*) from checked.held") == 0
        assert audit.value("select count(*) from checked.cells_set_aside") == 0

    _, answers = clean
    keys = ("case_key", "side", "basis", "achieved_source")
    assert (
        assert_measured(folder, answers["implants"], "measured.implants", keys) > 1000
    )
    keys = ("case_key", "basis", "achieved_source")
    assert assert_measured(folder, answers["pairs"], "measured.pairs", keys) > 500

    code, _, err = invoke(capsys, "held", folder)
    assert code == 0
    assert "No row is set aside" in err
    assert len(list((folder / "to_correct").glob("*.xlsx"))) == 1, "none was written"
    assert_everything_is_kept(folder)


def assert_everything_is_kept(folder):
    with records_of(folder) as records:
        implants = records.value(
            "select count(*) from amendments where sheet = 'implants' and why <> ''"
        )
        whys = records.run("select distinct why from decisions order by 1")
    assert implants >= 2 * 6 + 6 + 12 + 1
    assert ("typed twice",) in whys
    with (folder / "decisions.csv").open(encoding="utf-8", newline="") as handle:
        lines = list(csv.DictReader(handle))
    assert {line["answer"] for line in lines} == {"corrected", "leave out"}
    text = (folder / "decisions.csv").read_text(encoding="utf-8")
    for number in {fault["case_id"] for fault in planted()}:
        assert number not in text, "identities are codes there"

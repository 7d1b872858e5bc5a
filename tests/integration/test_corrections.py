"""A row once put right or left out stays so while the clinic's file says the same."""

import os
from datetime import datetime

import pandas as pd
import pytest

from pipeline import audit as audits
from pipeline.records.answering import older_loads, use_older
from pipeline.records.codes import Codebook
from pipeline.records.corrections import Answered, correct, leave_out
from pipeline.records.loading import load_folder
from pipeline.records.store import fields_of, open_for_loading
from tests.audits import fill, quiet, records_of

HEAD = "case_id,side,entry_3d_mm,angle_deg\n"
FIRST = HEAD + "A1,left,1.2,3\nA1,right,99,4\nA2,left,0.9,2\n"
BY = Answered("R. Ames", datetime(2026, 3, 2), "rows.xlsx", "0" * 64)  # noqa: DTZ001


@pytest.fixture
def folder(tmp_path):
    return audits.create_folder(tmp_path / "a").folder


class Clock:
    """The time of each file, later with every load."""

    now = 1_000_000


def load(folder, text, name="deviations.csv"):
    Clock.now += 1000
    fill(folder, {name: text})
    os.utime(folder / "records" / name, (Clock.now, Clock.now))
    audit = audits.open_folder(folder)
    return load_folder(audit, audit.settings(), quiet).counts


def in_use(folder, columns="row_number, side, entry_3d_mm", sheet="deviations"):
    with records_of(folder) as records:
        return sorted(
            records.run(
                f"select {columns} from {sheet} anti join rows_not_in_use using (row_id)"
            )
        )


def opened(folder):
    audit = audits.open_folder(folder)
    settings = audit.settings()
    return open_for_loading(audit, settings, Codebook(settings).fingerprint)


def put_right(folder, row_number, sheet="deviations", **cells):
    with opened(folder) as store:
        rows = store.frame(
            f"select * from {sheet} anti join rows_not_in_use using (row_id)"
            f" where row_number = {row_number}"
        )
        given = rows[fields_of(sheet)].assign(**cells)
        given["old_row_id"], given["why"] = rows["row_id"], "read again on the chart"
        with store.transaction():
            correct(store, sheet, given, BY)


def take_out(folder, row_number, nth=0, sheet="deviations"):
    with opened(folder) as store:
        rows = store.frame(
            f"select row_id from {sheet} anti join rows_not_in_use using (row_id)"
            f" where row_number = {row_number} order by row_id"
        )
        rows = rows.iloc[[nth]].assign(why="typed twice")
        with store.transaction():
            leave_out(store, sheet, rows, BY)


def amendments(folder):
    with records_of(folder) as records:
        return records.run(
            "select field, old_value, new_value, changed_by, why from amendments order by rowid"
        )


def test_a_corrected_row_takes_the_place_of_the_row_and_both_are_kept(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    assert in_use(folder) == [
        (2, "left", "1.2"),
        (3, "right", "1.4"),
        (4, "left", "0.9"),
    ]
    assert amendments(folder) == [
        ("entry_3d_mm", "99", "1.4", "R. Ames", "read again on the chart")
    ]
    with records_of(folder) as records:
        assert records.run("select because from rows_not_in_use") == [("corrected",)]
        assert records.value("select count(*) from deviations") == 4
        sources = records.run("select distinct source, sheet, status from loads")
    assert sorted(sources) == [
        ("deviations.csv", "deviations", "correction"),
        ("deviations.csv", "deviations", "in use"),
    ]


def test_after_a_correction_the_same_file_is_not_loaded_again(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    audit = audits.open_folder(folder)
    assert load_folder(audit, audit.settings(), quiet).count_as_before == 1


def test_the_old_faulty_cell_in_next_months_file_does_not_come_back(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    for month in range(2):
        more = FIRST.replace(HEAD, HEAD + f"B{month},left,2,2\n") + "A3,left,1,1\n"
        counts = load(folder, more)
        assert counts.changed == 0, "nobody is told of a change"
        assert (4, "right", "1.4") in in_use(folder), "at its row in the new file"
        assert "99" not in [row[2] for row in in_use(folder)]
    assert len(amendments(folder)) == 1


def test_once_the_clinics_own_file_is_right_too_nothing_changes(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    counts = load(folder, FIRST.replace("99", "1.4"))
    assert (counts.new, counts.changed, counts.same, counts.gone) == (0, 0, 3, 0)
    assert (3, "right", "1.4") in in_use(folder)


def test_a_cell_that_differs_from_both_is_a_new_change(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    counts = load(folder, FIRST.replace("99", "1.6"))
    assert (counts.changed, counts.same) == (1, 2)
    assert (3, "right", "1.6") in in_use(folder)
    assert amendments(folder)[-1][:3] == ("entry_3d_mm", "1.4", "1.6")
    counts = load(folder, FIRST)
    assert counts.changed == 1, "the answer has ended; the file is believed again"
    assert (3, "right", "99") in in_use(folder)


def test_a_corrected_side_is_the_same_row_in_next_months_file(folder):
    """The natural key itself was wrong: the row is known by what the file said."""
    load(folder, HEAD + "A1,left,1.2,3\nA1,left,1.4,4\n")
    put_right(folder, 3, side="right")
    counts = load(folder, HEAD + "A1,left,1.2,3\nA1,left,1.4,4\nA2,left,1,1\n")
    assert (counts.new, counts.changed, counts.same, counts.gone) == (1, 0, 2, 0)
    assert [row[1] for row in in_use(folder)] == ["left", "right", "left"]


def test_a_correction_may_be_corrected_again_and_the_last_one_stands(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    put_right(folder, 3, entry_3d_mm="1.5")
    assert (3, "right", "1.5") in in_use(folder)
    assert load(folder, FIRST + "A3,left,1,1\n").changed == 0
    assert (3, "right", "1.5") in in_use(folder)
    assert len(in_use(folder)) == 4


def test_a_row_left_out_stays_out_while_the_file_repeats_it(folder):
    twice = HEAD + "A1,left,1.2,3\nA1,left,1.2,3\nA2,left,0.9,2\n"
    load(folder, twice)
    take_out(folder, 3)
    assert [row[0] for row in in_use(folder)] == [2, 4]
    assert amendments(folder) == [("", "in use", "left out", "R. Ames", "typed twice")]
    counts = load(folder, twice + "A3,left,1,1\n")
    assert (counts.new, counts.changed, counts.same, counts.gone) == (1, 0, 3, 0)
    assert [row[0] for row in in_use(folder)] == [2, 4, 5]


def test_a_row_left_out_stays_out_when_the_twin_rows_change_places(folder):
    load(folder, HEAD + "A1,left,1.2,3\nA1,left,1.3,3\n")
    take_out(folder, 3)
    load(folder, HEAD + "A1,left,1.3,3\nA1,left,1.2,3\n")
    assert in_use(folder) == [(3, "left", "1.2")]


def test_a_row_left_out_is_back_when_the_file_says_something_new_of_it(folder):
    load(folder, FIRST)
    take_out(folder, 3)
    counts = load(folder, FIRST.replace("99", "1.6"))
    assert (counts.new, counts.gone) == (1, 0)
    assert (3, "right", "1.6") in in_use(folder)


def test_a_repeated_row_taken_out_of_the_file_itself_leaves_one_in_use(folder):
    load(folder, HEAD + "A1,left,1.2,3\nA1,left,1.3,3\n")
    counts = load(folder, HEAD + "A1,left,1.3,3\n")
    assert (counts.new, counts.changed, counts.same, counts.gone) == (0, 0, 1, 1)


def test_a_row_repeated_later_is_one_new_row_and_not_two(folder):
    load(folder, FIRST)
    counts = load(folder, FIRST + "A2,left,0.9,2\n")
    assert (counts.new, counts.same, counts.gone) == (1, 3, 0)
    assert len(in_use(folder)) == 4


def test_a_corrected_row_that_the_file_no_longer_holds_is_gone_and_in_use(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    counts = load(folder, FIRST.replace("A1,right,99,4\n", ""))
    assert (counts.same, counts.gone) == (2, 1)
    assert (3, "right", "1.4") in in_use(folder)
    assert load(folder, FIRST + "A3,left,1,1\n").same == 3
    assert (3, "right", "1.4") in in_use(folder)


def test_a_corrected_cell_keeps_the_decimal_sign_of_its_file(folder):
    text = "case_id;side;entry_3d_mm;angle_deg\nA1;left;1,2;3,5\nA1;right;99;4,5\n"
    load(folder, text)
    put_right(folder, 3, entry_3d_mm="1,4")
    load(folder, text + "A2;left;1,5;2,5\n")
    with records_of(folder) as records:
        signs = records.run("select distinct decimal_sign from loads")
    assert signs == [(",",)]
    assert (3, "right", "1,4") in in_use(folder)


def test_a_row_made_by_a_corrected_key_is_told_from_its_namesake(folder):
    """Correcting one row into the key of another leaves both apart, as a repeat."""
    load(folder, FIRST)
    put_right(folder, 3, side="left")
    keys = [row[0] for row in in_use(folder, "row_key")]
    assert len(keys) == len(set(keys))
    assert sum(key.endswith("#2") for key in keys) == 1


def test_a_correction_stands_when_an_older_file_is_used_after_all(folder):
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    Clock.now -= 500_000
    assert load(folder, FIRST.replace("1.2", "1.1")).older == 3
    Clock.now += 500_000
    with opened(folder) as store, store.transaction():
        (held,) = older_loads(store, "deviations.csv", "deviations")
        use_older(store, held, by="R. Ames", at=BY.at, why="the right one")
    assert in_use(folder) == [
        (2, "left", "1.1"),
        (3, "right", "1.4"),
        (4, "left", "0.9"),
    ]


def test_two_tabs_of_one_sheet_keep_their_corrections_apart(folder):
    import openpyxl

    def book(*rows):
        workbook = openpyxl.Workbook()
        workbook.remove(workbook.active)
        for name in ("deviations", "second clinic"):
            tab = workbook.create_sheet(name)
            tab.append(HEAD.strip().split(","))
            for row in rows:
                tab.append(row)
        path = folder / "records" / "log.xlsx"
        workbook.save(path)
        return path

    def load_book(*rows):
        book(*rows)
        audit = audits.open_folder(folder)
        return load_folder(audit, audit.settings(), quiet).counts

    rows = [("A1", "left", 1.2, 3), ("A2", "right", 99, 4)]
    load_book(*rows)
    assert len(in_use(folder)) == 4
    take_out(folder, 3, nth=1)
    load_book(*rows, ("A3", "left", 1, 1))
    assert [row[0] for row in in_use(folder)] == [2, 2, 3, 4, 4]


def test_a_correction_outlives_a_restart(folder):
    """Everything about an answer lies in the file, nothing in memory."""
    load(folder, FIRST)
    put_right(folder, 3, entry_3d_mm="1.4")
    with records_of(folder) as records:
        kept = records.frame("select * from corrections where is_in_force")
    assert list(kept["kind"]) == ["corrected"]
    assert list(kept["why"]) == ["read again on the chart"]
    assert isinstance(kept, pd.DataFrame)


WIDE = "Case,33 entry,43 entry,Tooth note\nP1,1.2,99,a\nP2,1.4,0.9,b\n"
LAYOUT = """
needs = ["Case", "33 entry"]
[[rows]]
sheet = "deviations"
each = [{ "<s>" = "33", side = "left" }, { "<s>" = "43", side = "right" }]
[rows.fields]
case_id = "Case"
entry_3d_mm = "<s> entry"
"""


def put_right_side(folder, case_row, side, value):
    with opened(folder) as store:
        rows = store.frame(
            "select * from deviations anti join rows_not_in_use using (row_id)"
            f" where row_number = {case_row} and side = '{side}'"
        )
        given = rows[fields_of("deviations")].assign(entry_3d_mm=value)
        given["old_row_id"], given["why"] = rows["row_id"], "chart"
        with store.transaction():
            correct(store, "deviations", given, BY)


def test_a_row_that_a_layout_made_is_corrected_and_stays_so(folder):
    layout = folder / "layouts" / "wide.toml"
    layout.write_text(LAYOUT, encoding="utf-8")
    load(folder, WIDE, "theirs.csv")
    put_right_side(folder, 2, "right", "1.3")
    right = [
        (2, "left", "1.2"),
        (2, "right", "1.3"),
        (3, "left", "1.4"),
        (3, "right", "0.9"),
    ]
    assert in_use(folder) == right
    with records_of(folder) as records:
        behind = records.value(
            "select count(*) from received_rows inner join deviations using (row_id)"
        )
        assert behind == records.value("select count(*) from deviations")
    counts = load(folder, WIDE + "P3,1,1,c\n", "theirs.csv")
    assert (counts.new, counts.changed) == (2, 0)
    assert in_use(folder)[:4] == right
    # another field from the same file: the rows are made anew, the answer stands
    layout.write_text(LAYOUT + "# said otherwise\n", encoding="utf-8")
    load(folder, WIDE + "P3,1,1,c\n", "theirs.csv")
    assert in_use(folder)[:4] == right
    assert len(in_use(folder)) == 6

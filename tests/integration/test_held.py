"""The workbook of rows set aside, written, filled in and taken back."""

import csv
import os
import shutil

import openpyxl
import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.checked import held_rows
from pipeline.records import corrections, held_applying
from pipeline.records.codes import Codebook
from pipeline.records.loading import load_folder
from tests.audits import fill, opened, quiet, records_of
from tests.held_workbook import HeldWorkbook, newest

FIGURES = """\
case_id;side;entry_3d_mm;angle_deg;examiner;reading
0017;left;1,2;3,5;Fennimore;1
0017;right;99;4,5;Fennimore;1
0018;left;-0,5;2,5;=1+1;1
0018;right;1,1;2,1;=1+1;1
0019;left;0,9;3,1;Fennimore;1
0019;left;0,9;3,1;Fennimore;1
"""
EVENTS = """\
case_id,event_date,event,side,note
0017,2025-03-14,ring changed,left,+41 says the note
0018,2025-04-01,relined,,@once
"""
LARGE, NEGATIVE, TWIN = 3, 4, 7
"""Rows of figures.csv: possible but large (a hold), below 0 (a stop), typed twice."""


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """An audit whose faults were found and written into a workbook, and its keys."""
    place = tmp_path_factory.mktemp("asked")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "home"))
        folder = audits.create_folder(place / "audit").folder
        settings = (folder / "audit.toml").read_text(encoding="utf-8")
        settings = settings.replace('lead = ""', 'lead = "R. Ames"')
        (folder / "audit.toml").write_text(settings, encoding="utf-8")
        fill(folder, {"deviations.csv": FIGURES, "events.csv": EVENTS})
        for name in ("deviations.csv", "events.csv"):
            os.utime(folder / "records" / name, (1_000_000, 1_000_000))
        check(folder)
        assert commands.held(folder, quiet) == 0
    return place


@pytest.fixture
def folder(asked, tmp_path, monkeypatch):
    for name in ("home", "audit"):
        shutil.copytree(asked / name, tmp_path / name)
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path / "home"))
    return tmp_path / "audit"


@pytest.fixture
def book(folder):
    return HeldWorkbook(newest(folder))


def check(folder):
    return commands.run(folder, "checked", commands.Wishes(), quiet)


def load(folder):
    """Load records/ and to_correct/; return the report and what was said."""
    said = []
    audit = audits.open_folder(folder)
    report = load_folder(audit, audit.settings(), said.append)
    return report, "\n".join(said)


def in_use(folder, columns, sheet="deviations"):
    with records_of(folder) as records:
        return records.run(
            f"select {columns} from {sheet} anti join rows_not_in_use using (row_id)"
            " order by row_number"
        )


def state(folder):
    """Everything that loading could change, counted."""
    tables = ("amendments", "corrections", "accepted", "decisions", "answers", "loads")
    with records_of(folder) as records:
        counts = {t: records.value(f"select count(*) from {t}") for t in tables}
    counts["figures"] = in_use(folder, "row_number, entry_3d_mm, angle_deg")
    counts["events"] = in_use(folder, "event", "events")
    return counts


def lines(folder):
    with (folder / "decisions.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def code(folder, number, kind="case"):
    return Codebook(audits.open_folder(folder).settings()).code_of(kind, number)


# what is written


def test_only_sheets_with_rows_set_aside_have_a_tab_and_only_their_rows(book):
    visible = [tab.title for tab in book.book if tab.sheet_state == "visible"]
    assert visible == ["read me", "deviations", "events"]
    assert set(book.rows("deviations")) == {LARGE, NEGATIVE, 6, TWIN}
    assert set(book.rows("events")) == {2}
    assert book.book["_held"].sheet_state == "hidden"


def test_the_first_line_says_what_the_workbook_is(book):
    first = book.book["read me"]["A1"].value
    assert first == "contains practice numbers, do not circulate"
    for tab in book.book:
        if tab.sheet_state == "visible":
            assert tab.oddFooter.left.text == first


def test_numbers_and_names_are_led_back_and_cells_are_as_they_came(book):
    cells = book.values("deviations", LARGE)
    assert (cells["case_id"], cells["examiner"]) == ("0017", "Fennimore")
    assert (cells["entry_3d_mm"], cells["angle_deg"]) == (99, 4.5)
    assert book.value("deviations", LARGE, "came from") == "deviations.csv, row 3"


def test_columns_that_hold_nothing_are_left_out(book):
    assert "depth_mm" not in book.columns("deviations")
    assert list(book.columns("events"))[2:7] == [
        "case_id",
        "event_date",
        "event",
        "side",
        "note",
    ]


def test_what_is_wrong_is_coloured_commented_and_said(book):
    assert book.coloured("deviations", LARGE) == {"entry_3d_mm"}
    assert book.coloured("events", 2) == {"event"}
    comment = book.cell("deviations", LARGE, "entry_3d_mm").comment.text
    for part in ("what is wrong", "what to do"):
        said = book.value("deviations", LARGE, part)
        assert said
        assert said in comment
    assert "Row 3" not in book.value("deviations", LARGE, "what is wrong")


def test_text_that_a_spreadsheet_could_run_is_marked_as_text(book, folder):
    for sheet, row, name in (
        ("deviations", NEGATIVE, "examiner"),
        ("events", 2, "note"),
    ):
        cell = book.cell(sheet, row, name)
        assert cell.value in {"=1+1", "+41 says the note"}
        assert cell.data_type == "s"
        assert cell.quotePrefix


def offered(book, sheet, row):
    column = book.columns(sheet)["answer"]
    cell = book.tab(sheet).cell(book.rows(sheet)[row], column).coordinate
    rules = book.tab(sheet).data_validations.dataValidation
    return [rule.formula1.strip('"') for rule in rules if cell in rule.sqref]


def test_right_as_it_is_is_offered_only_where_it_can_be(book):
    assert offered(book, "deviations", LARGE) == ["corrected,leave out,right as it is"]
    assert offered(book, "deviations", NEGATIVE) == ["corrected,leave out"]


def test_a_second_workbook_never_takes_the_place_of_the_first(folder):
    first = newest(folder)
    before = first.read_bytes()
    shutil.move(first, folder / "records" / first.name)
    commands.held(folder, quiet)
    assert newest(folder).name == "rows_to_correct_2.xlsx"
    assert (folder / "records" / first.name).read_bytes() == before


def test_more_rows_than_a_person_can_mend_follow_in_the_next_workbook(
    folder, monkeypatch
):
    monkeypatch.setattr(held_rows, "MOST_ROWS", 2)
    said = []
    commands.held(folder, said.append)
    assert "3 more rows follow in the next workbook." in said
    book = HeldWorkbook(newest(folder))
    assert len(book.rows("deviations")) == 2
    assert "3 more rows follow" in book.book["read me"]["A4"].value


def test_a_person_who_lost_the_list_of_numbers_gets_codes_and_may_still_answer(folder):
    audit = audits.open_folder(folder)
    (audit.settings().key_file.parent / "codes.duckdb").unlink()
    commands.held(folder, quiet)
    book = HeldWorkbook(newest(folder))
    assert book.value("deviations", LARGE, "case_id") == code(folder, "0017")
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save()
    load(folder)
    assert ("1,4",) in in_use(folder, "entry_3d_mm")
    assert {row[0] for row in in_use(folder, "case_id")} == {
        code(folder, number) for number in ("0017", "0018", "0019")
    }


# what is taken back


def test_a_corrected_cell_is_used_and_nothing_is_lost(folder, book):
    book.answer(
        "deviations", LARGE, "corrected", "0017 measured again", entry_3d_mm=1.4
    )
    book.save()
    _, said = load(folder)
    assert "rows_to_correct_1.xlsx: 1 row corrected" in said
    assert ("1,4", "4,5") in in_use(folder, "entry_3d_mm, angle_deg")
    with records_of(folder) as records:
        amended = records.run(
            "select field, old_value, new_value, changed_by, why from amendments"
        )
        because = records.run("select because from rows_not_in_use")
    why = f"{code(folder, '0017')} measured again"
    assert amended == [("entry_3d_mm", "99", "1,4", "R. Ames", why)]
    assert because == [("corrected",)]
    check(folder)
    with opened(folder) as audit:
        assert (
            audit.value(
                "select count(*) from checked.held inner join staged.deviations using (row_id)"
                " where row_number = 3"
            )
            == 0
        )


def test_every_decision_is_a_line_and_numbers_in_it_are_codes(folder, book):
    book.answer("deviations", LARGE, "corrected", "Fennimore, 0017", entry_3d_mm=1.4)
    book.answer("deviations", TWIN, "leave out", "typed twice")
    book.save()
    load(folder)
    person = code(folder, "Fennimore", "person")
    assert [
        (one["answer"], one["about"], one["field"], one["old"], one["new"], one["why"])
        for one in lines(folder)
    ] == [
        (
            "corrected",
            "deviations.csv, deviations, row 3",
            "entry_3d_mm",
            "99",
            "1,4",
            f"{person}, {code(folder, '0017')}",
        ),
        ("leave out", "deviations.csv, deviations, row 7", "", "", "", "typed twice"),
    ]
    assert {one["who"] for one in lines(folder)} == {"R. Ames"}


def test_a_row_left_out_is_no_longer_used_and_its_twin_is(folder, book):
    book.answer("deviations", TWIN, "leave out", "typed twice")
    book.save()
    load(folder)
    check(folder)
    with opened(folder) as audit:
        rows = audit.run("select row_number from staged.deviations order by 1")
        twin = audit.value(
            "select count(*) from checked.findings where check_id = 'deviations-key-twice'"
        )
    assert [row[0] for row in rows] == [2, 3, 4, 5, 6]
    assert twin == 0


def test_a_row_right_as_it_is_is_used_until_it_changes(folder, book):
    book.answer("deviations", LARGE, "right as it is", "measured three times")
    book.save()
    assert "1 row found right as it is" in load(folder)[1]
    check(folder)
    select = (
        "select severity, is_accepted from checked.findings"
        " where row_number = 3 and sheet = 'deviations'"
    )
    usable = "select entry_3d_mm from checked.usable_deviations where row_number = 3"
    with opened(folder) as audit:
        assert audit.run(select) == [("hold", True)]
        assert audit.run(usable) == [(99.0,)]
    fill(folder, {"deviations.csv": FIGURES.replace("99", "98")})
    check(folder)
    with opened(folder) as audit:
        assert audit.run(select) == [("hold", False)]
        assert audit.run(usable) == []


def test_an_accepted_row_stays_accepted_when_its_file_comes_again(folder, book):
    book.answer("deviations", LARGE, "right as it is", "measured three times")
    book.save()
    load(folder)
    fill(folder, {"deviations.csv": FIGURES + "0020;left;1,0;2,0;Fennimore;1\n"})
    check(folder)
    with opened(folder) as audit:
        assert audit.value(
            "select is_accepted from checked.findings"
            " where row_number = 3 and sheet = 'deviations'"
        )


@pytest.mark.parametrize(
    ("sheet", "row", "typed", "said"),
    [
        ("deviations", NEGATIVE, {"answer": "right as it is"}, "cannot be right"),
        ("events", 2, {"answer": "right as it is"}, "cannot be right"),
        ("deviations", LARGE, {"answer": "fine"}, "with another answer"),
        ("deviations", LARGE, {"answer": "corrected"}, "every cell is as it came"),
        (
            "deviations",
            LARGE,
            {"answer": "right as it is", "angle_deg": 4},
            "and changed too",
        ),
        ("deviations", LARGE, {}, "neither a changed cell nor an answer"),
        ("deviations", LARGE, {"angle_deg": 4, "why": None}, "without a reason"),
        ("deviations", LARGE, {"answer": "leave out", "why": " "}, "without a reason"),
    ],
)
def test_an_answer_that_cannot_be_used_is_said_and_nothing_done(
    folder, book, sheet, row, typed, said
):
    before = state(folder)
    book.type(sheet, row, **({"why": "so it is"} | typed))
    book.save()
    told = load(folder)[1]
    assert said in told
    assert "1 row " in told
    assert "99" not in told
    assert "0017" not in told
    assert state(folder) == before
    assert said in load(folder)[1], "and it is said again at the next run"


def test_without_a_name_answers_wait_and_are_applied_once_there_is_one(folder, book):
    """One rule for both doors: plumbpost accept refuses for the same reason."""
    settings = folder / "audit.toml"
    named = settings.read_text(encoding="utf-8")
    settings.write_text(named.replace("R. Ames", " "), encoding="utf-8")
    before = state(folder)
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.answer("deviations", TWIN, "leave out", "typed twice")
    book.save()
    for _ in range(2):
        _, said = load(folder)
        assert "2 rows answered, but a decision needs a name" in said
        assert 'lead = "your name or role", and run again' in said
        assert state(folder) == before
    settings.write_text(named, encoding="utf-8")
    assert "1 row corrected, 1 row left out" in load(folder)[1]
    assert {line["who"] for line in lines(folder)} == {"R. Ames"}


def test_a_workbook_that_nobody_has_filled_in_is_not_spoken_of(folder):
    before = state(folder)
    assert "rows_to_correct" not in load(folder)[1]
    assert state(folder) == before


def test_the_same_workbook_again_or_as_a_copy_in_records_changes_nothing(folder, book):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.answer("deviations", TWIN, "leave out", "typed twice")
    book.save()
    load(folder)
    once = state(folder)
    load(folder)
    assert state(folder) == once
    book.book["read me"]["A20"] = "saved again, so that the file is another one"
    book.save(folder / "records" / "answers of march.xlsx")
    _, said = load(folder)
    assert "answers of march.xlsx: nothing new to apply" in said
    assert state(folder) == once
    assert "answers of march.xlsx: as before" in load(folder)[1]


def test_next_month_the_old_faulty_cells_do_not_come_back(folder, book):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.answer("deviations", TWIN, "leave out", "typed twice")
    book.answer("events", 2, "corrected", "a new insert", event="insert_renewed")
    book.save()
    load(folder)
    head, _, rest = FIGURES.partition("\n")
    more = f"{head}\n0016;left;1,0;2,0;Fennimore;1\n{rest}"
    fill(
        folder,
        {"deviations.csv": more, "events.csv": EVENTS + "0019,2025-05-02,relined,,\n"},
    )
    report, _ = load(folder)
    assert (report.counts.new, report.counts.changed) == (2, 0)
    assert in_use(folder, "row_number, entry_3d_mm")[2] == (4, "1,4")
    assert in_use(folder, "event", "events")[0] == ("insert_renewed",)
    check(folder)
    with opened(folder) as audit:
        held = audit.run("select check_ids from checked.held")
    assert held == [], "nobody is asked again; -0,5 is a cell set aside"
    newer = more.replace("99", "1,6")
    fill(folder, {"deviations.csv": newer})
    report, _ = load(folder)
    assert report.counts.changed == 1, "what differs from both is a new change"
    assert in_use(folder, "row_number, entry_3d_mm")[2] == (4, "1,6")


def test_answers_to_a_row_that_the_clinic_changed_meanwhile_are_not_applied(
    folder, book
):
    fill(folder, {"deviations.csv": FIGURES.replace("99", "1,6")})
    load(folder)
    before = state(folder)
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save()
    assert "have changed since the workbook was written" in load(folder)[1]
    assert state(folder) == before


def test_a_change_elsewhere_in_the_row_does_not_hinder_a_correction(folder, book):
    fill(folder, {"deviations.csv": FIGURES.replace("99;4,5", "99;4,9")})
    load(folder)
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save()
    load(folder)
    assert ("1,4", "4,9") in in_use(folder, "entry_3d_mm, angle_deg")


def test_a_later_workbook_corrects_the_correction_and_the_earlier_one_is_quiet(
    folder, book
):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=88)
    first = book.save()
    check(folder)
    commands.held(folder, quiet)
    second = HeldWorkbook(newest(folder))
    assert second.path != first
    assert second.value("deviations", LARGE, "entry_3d_mm") == 88
    second.answer("deviations", LARGE, "corrected", "typing error", entry_3d_mm=1.4)
    second.save()
    load(folder)
    book.book["read me"]["A20"] = "saved again"
    book.save()
    load(folder)
    assert ("1,4",) in in_use(folder, "entry_3d_mm")


def test_a_person_may_think_better_of_an_answer_in_the_same_workbook(folder, book):
    for value in (1.4, 1.5, 1.4):
        book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=value)
        book.save()
        load(folder)
        assert (str(value).replace(".", ","),) in in_use(folder, "entry_3d_mm")
    book.answer("deviations", LARGE, "leave out", "another patient")
    book.save()
    load(folder)
    assert LARGE not in [row[0] for row in in_use(folder, "row_number")]
    book.answer("deviations", LARGE, "corrected", "it is this one", entry_3d_mm=1.4)
    book.save()
    load(folder)
    assert ("1,4",) in in_use(folder, "entry_3d_mm")


def test_a_case_number_led_back_is_coded_again_to_the_same_code(folder, book):
    codes = {row[0] for row in in_use(folder, "case_id")}
    book.answer(
        "deviations", LARGE, "corrected", "chart", case_id=" 0017 ", entry_3d_mm=1
    )
    book.answer(
        "deviations", NEGATIVE, "corrected", "chart", case_id="0021", entry_3d_mm=1
    )
    book.save()
    load(folder)
    assert {row[0] for row in in_use(folder, "case_id")} == codes | {
        code(folder, "0021")
    }
    changed = [one["field"] for one in lines(folder)]
    assert sorted(changed) == ["case_id", "entry_3d_mm", "entry_3d_mm"]
    assert "0021" not in (folder / "decisions.csv").read_text(encoding="utf-8")
    check(folder)
    commands.held(folder, quiet)


def test_rows_of_several_tabs_go_in_together_or_not_at_all(folder, book, monkeypatch):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.answer("events", 2, "leave out", "another patient")
    book.save()
    before = state(folder)

    def broken(*_):
        raise RuntimeError("power cut")

    with monkeypatch.context() as patch:
        patch.setattr(held_applying.corrections, "leave_out", broken)
        with pytest.raises(RuntimeError):
            load(folder)
    assert state(folder) == before
    assert "1 row corrected, 1 row left out" in load(folder)[1]
    assert corrections.LEFT_OUT == "left out"


def test_a_tab_that_a_person_sorted_is_still_known_row_by_row(folder, book):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.answer("deviations", TWIN, "leave out", "typed twice")
    tab = book.tab("deviations")
    rows = [[cell.value for cell in row] for row in tab.iter_rows(min_row=2)]
    for number, values in enumerate(reversed(rows), start=2):
        for column, value in enumerate(values, start=1):
            tab.cell(number, column).value = value
    book.save()
    load(folder)
    figures = in_use(folder, "row_number, entry_3d_mm")
    assert figures == [(2, "1,2"), (3, "1,4"), (4, "-0,5"), (5, "1,1"), (6, "0,9")]


def test_rows_deleted_from_the_workbook_stay_set_aside_and_new_ones_are_said(
    folder, book
):
    tab = book.tab("deviations")
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    tab.delete_rows(book.rows("deviations")[TWIN])
    tab.append([None, None, "0044", "left", 1.0])
    book.save()
    _, said = load(folder)
    assert "1 row corrected" in said
    assert "without a number of ours" in said
    assert len(in_use(folder, "row_id")) == 6


def test_a_workbook_of_another_audit_is_refused(folder, book, tmp_path):
    other = audits.create_folder(tmp_path / "other", lead="R. Ames").folder
    fill(other, {"deviations.csv": FIGURES})
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save(other / "records" / "answers.xlsx")
    report, _ = load(other)
    (problem,) = report.problems
    assert problem.exit_code == 3
    assert "another audit" in problem.sentence
    assert ("99",) in in_use(other, "entry_3d_mm")


def test_a_workbook_whose_hidden_tab_was_changed_is_refused(folder, book):
    book.book["_held"]["E3"] = "gone"
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save()
    report, _ = load(folder)
    (problem,) = report.problems
    assert "_held" in problem.sentence
    assert "plumbpost held" in problem.hint


def test_a_tab_saved_as_text_is_refused_and_not_taken_for_new_records(folder, book):
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    rows = [
        ["" if cell.value is None else cell.value for cell in row]
        for row in book.tab("deviations")
    ]
    with (folder / "records" / "answers.csv").open(
        "w", encoding="utf-8", newline=""
    ) as handle:
        csv.writer(handle).writerows(rows)
    report, _ = load(folder)
    (problem,) = report.problems
    assert "without the hidden tab" in problem.sentence
    assert len(in_use(folder, "row_id")) == 6


def test_answers_written_from_other_records_are_not_applied(folder, book):
    """records.duckdb was lost and made again from other files: ids mean other rows."""
    (folder / "records.duckdb").unlink()
    fill(folder, {"deviations.csv": FIGURES.replace("99", "97")})
    book.answer("deviations", LARGE, "corrected", "chart", entry_3d_mm=1.4)
    book.save()
    assert "from other records than these" in load(folder)[1]
    assert ("97",) in in_use(folder, "entry_3d_mm")


def test_other_files_in_to_correct_are_nobodys_business(folder):
    workbook = openpyxl.Workbook()
    workbook.active.append(["practice_no", "overdue since"])
    workbook.save(folder / "to_correct" / "overdue.xlsx")
    (folder / "to_correct" / "notes.xlsx").write_bytes(b"not a workbook")
    report, said = load(folder)
    assert report.problems == []
    assert "overdue" not in said
    (folder / "to_correct" / "rows_to_correct_9.xlsx").write_bytes(b"cut short")
    assert len(load(folder)[0].problems) == 1


def test_the_records_own_numbers_stay_out_of_the_databases(folder, book):
    book.answer("deviations", LARGE, "corrected", "Fennimore read it", entry_3d_mm=1.4)
    book.save()
    load(folder)
    check(folder)
    for path in folder.rglob("*"):
        if path.is_file() and path.parent.name not in {"records", "to_correct"}:
            assert b"Fennimore" not in path.read_bytes(), path.name


READINGS = """\
case_id,state,quantity,value,source
0040,achieved,frontal_angle,3.2 approx,photo
0040,planned,frontal_angle,2.0,surveyor
"""


def test_fields_named_like_our_own_words_do_not_get_into_the_way(tmp_path, monkeypatch):
    """Readings of the pair have fields named state and source."""
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path / "home"))
    folder = audits.create_folder(tmp_path / "audit", lead="R. Ames").folder
    fill(folder, {"pair_readings.csv": READINGS})
    check(folder)
    commands.held(folder, quiet)
    book = HeldWorkbook(newest(folder))
    book.answer("pair_readings", 2, "corrected", "chart", value=3.2)
    book.save()
    fill(folder, {"pair_readings.csv": READINGS.replace("3.2 approx", "about 4")})
    (folder / "records" / "pair_readings.csv").rename(folder / "held back.csv")
    load(folder)
    assert in_use(folder, "value, state, source", "pair_readings")[0] == (
        "3.2",
        "achieved",
        "photo",
    )
    assert lines(folder)[0]["about"] == "pair_readings.csv, pair_readings, row 2"
    (folder / "held back.csv").rename(folder / "records" / "pair_readings.csv")
    load(folder)
    book.answer("pair_readings", 2, "leave out", "another patient")
    book.save()
    assert "have changed since" in load(folder)[1]
    assert in_use(folder, "value", "pair_readings")[0] == ("about 4",)


ONE_SIDE = """\
case_id,side,tooth,entry_3d_mm,angle_deg
0030,left,33,1.2,3.5
0030,left,35,1.3,4.5
"""


@pytest.fixture
def one_sided(tmp_path, monkeypatch):
    """A case whose two implants both stand on the left: a hold about the case."""
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path / "home"))
    folder = audits.create_folder(tmp_path / "audit", lead="R. Ames").folder
    fill(folder, {"deviations.csv": ONE_SIDE})
    check(folder)
    assert commands.held(folder, quiet) == 0
    return folder


def count_held(folder):
    with opened(folder) as audit:
        return audit.value("select count(*) from checked.held")


def test_what_is_wrong_with_a_case_stands_at_each_row_and_one_answer_serves(one_sided):
    book = HeldWorkbook(newest(one_sided))
    said = {row: book.value("deviations", row, "what is wrong") for row in (2, 3)}
    assert said[2] == said[3]
    assert "one side" in said[2]
    assert book.coloured("deviations", 2) == {"side"}
    book.answer("deviations", 2, "right as it is", "both are on the left, see the film")
    book.save()
    check(one_sided)
    assert count_held(one_sided) == 0
    with opened(one_sided) as audit:
        assert (
            audit.value(
                "select count(*) from checked.findings where is_accepted and row_id is null"
            )
            == 1
        )


def test_a_case_is_judged_again_where_another_of_its_rows_was_changed(one_sided):
    book = HeldWorkbook(newest(one_sided))
    book.answer("deviations", 2, "right as it is", "this one is on the left")
    book.answer("deviations", 3, "corrected", "typing error", entry_3d_mm=1.4)
    book.save()
    check(one_sided)
    assert count_held(one_sided) == 2, "the case still stands on one side"


def test_a_corrected_row_brings_the_other_rows_of_its_case_back(one_sided):
    book = HeldWorkbook(newest(one_sided))
    book.answer("deviations", 3, "corrected", "chart", side="right", tooth="43")
    book.save()
    check(one_sided)
    assert count_held(one_sided) == 0

"""Loading: nothing lost, nothing doubled, nothing changed without being said."""

import os

import pytest

from pipeline import audit as audits
from pipeline.records.loading import load_folder
from tests.audits import fill, quiet, records_of

HEAD = "case_id,side,entry_3d_mm,angle_deg\n"
FIRST = HEAD + "A1,left,1.2,3\nA1,right,1.4,4\nA2,left,0.9,2\n"


@pytest.fixture
def folder(tmp_path):
    return audits.create_folder(tmp_path / "a").folder


def load(folder, files=None, at=None):
    if files:
        fill(folder, files)
    for name in files or {}:
        if at is not None:
            os.utime(folder / "records" / name, (at, at))
    audit = audits.open_folder(folder)
    return load_folder(audit, audit.settings(), quiet)


def in_use(folder, columns="side, entry_3d_mm"):
    with records_of(folder) as records:
        return sorted(
            records.run(
                f"select {columns} from deviations anti join rows_not_in_use using (row_id)"
            )
        )


def test_rows_are_kept_as_received_with_source_sheet_and_row_number(folder):
    load(folder, {"deviations.csv": HEAD + "A1,left, 1.20 ,n/a\n"})
    with records_of(folder) as records:
        row = records.run(
            "select d.entry_3d_mm, d.angle_deg, d.row_number, l.source, l.sheet"
            " from deviations as d inner join loads as l using (load_no)"
        )
    assert row == [(" 1.20 ", "n/a", 2, "deviations.csv", "deviations")]


def test_no_cell_of_a_received_row_is_null(folder):
    load(folder, {"deviations.csv": FIRST})
    with records_of(folder) as records:
        names = [name for name, _ in records.columns("deviations")]
        nulls = " + ".join(f'count(*) filter ("{n}" is null)' for n in names)
        assert records.value(f"select {nulls} from deviations") == 0


def test_the_case_number_is_nowhere_in_the_folder_but_in_the_users_own_file(folder):
    number = "CHART-98765"
    load(folder, {"deviations.csv": HEAD + f"{number},left,1,2\n"})
    for path in folder.rglob("*"):
        if path.is_file() and path.parent.name != "records":
            assert number.encode() not in path.read_bytes(), path.name


def test_loading_the_same_file_twice_changes_nothing(folder):
    load(folder, {"deviations.csv": FIRST})
    again = load(folder)
    assert (again.count_loaded, again.count_as_before) == (0, 1)
    assert len(in_use(folder)) == 3


def test_a_copy_of_a_file_under_another_name_is_not_loaded_again(folder):
    load(folder, {"deviations.csv": FIRST})
    again = load(folder, {"copy/deviations.csv": FIRST})
    assert again.count_loaded == 0
    assert len(in_use(folder)) == 3


def test_last_months_file_with_three_more_rows_and_one_corrected_cell(folder):
    load(folder, {"deviations.csv": FIRST}, at=1_000_000)
    more = FIRST.replace("A1,right,1.4", "A1,right,1.5")
    more += "A3,left,2,2\nA3,right,2.1,3\nA4,left,1,1\n"
    report = load(folder, {"deviations.csv": more}, at=2_000_000)
    counts = report.counts
    assert (counts.new, counts.changed, counts.same, counts.gone) == (3, 1, 2, 0)
    assert len(in_use(folder)) == 6
    with records_of(folder) as records:
        amended = records.run("select field, old_value, new_value, why from amendments")
        assert records.value("select count(*) from deviations") == 9
    assert amended == [("entry_3d_mm", "1.4", "1.5", "the file was loaded again")]


def test_a_row_that_is_gone_stays_in_use_and_is_said(folder):
    load(folder, {"deviations.csv": FIRST}, at=1_000_000)
    fewer = FIRST.replace("A2,left,0.9,2\n", "")
    report = load(folder, {"deviations.csv": fewer}, at=2_000_000)
    assert report.counts.gone == 1
    assert ("left", "0.9") in in_use(folder)


def test_a_row_that_comes_back_is_not_doubled(folder):
    load(folder, {"deviations.csv": FIRST}, at=1_000_000)
    fewer = FIRST.replace("A2,left,0.9,2\n", "")
    load(folder, {"deviations.csv": fewer}, at=2_000_000)
    report = load(folder, {"deviations.csv": FIRST}, at=3_000_000)
    assert (report.counts.same, report.counts.new) == (3, 0)
    assert len(in_use(folder)) == 3


def test_an_older_file_does_not_win_silently(folder):
    newer = FIRST.replace("0.9", "0.8")
    load(folder, {"deviations.csv": newer}, at=2_000_000)
    report = load(folder, {"deviations.csv": FIRST}, at=1_000_000)
    assert report.counts.older == 3
    assert ("left", "0.8") in in_use(folder)
    assert load(folder).count_loaded == 0, "and it is not held anew at every run"


def test_a_tooth_number_added_later_is_a_correction_and_no_second_implant(folder):
    load(folder, {"deviations.csv": FIRST}, at=1_000_000)
    with_tooth = "case_id,side,tooth,entry_3d_mm,angle_deg\n"
    with_tooth += "A1,left,33,1.2,3\nA1,right,43,1.4,4\nA2,left,33,0.9,2\n"
    report = load(folder, {"deviations.csv": with_tooth}, at=2_000_000)
    assert (report.counts.changed, report.counts.new) == (3, 0)


def test_identifying_columns_are_left_at_the_door_and_said(folder):
    text = "case_id,side,Surname,entry_3d_mm\nA1,left,Quillfeather,1\n"
    load(folder, {"deviations.csv": text})
    for path in (folder / "records.duckdb", folder / "records.duckdb.wal"):
        if path.exists():
            assert b"Quillfeather" not in path.read_bytes()
    with records_of(folder) as records:
        notes = records.value("select notes from loads")
    assert any("a name" in note for note in notes)


def test_columns_that_are_not_ours_are_kept_beside_the_row(folder):
    load(folder, {"deviations.csv": "case_id,side,entry_3d_mm,shade\nA1,left,1,blue\n"})
    with records_of(folder) as records:
        assert (
            records.value("select other_cells from deviations") == '{"shade": "blue"}'
        )


def test_visits_of_patients_not_in_the_audit_are_counted_and_not_stored(folder):
    report = load(
        folder,
        {
            "cases.csv": "case_id,jaw\nA1,lower\n",
            "a_visits.csv": "case_id,visit_date,minutes\n"
            "A1,2025-03-01,10\nB7,2025-03-02,15\nB8,2025-03-02,15\n",
        },
    )
    assert report.counts.left_out == 2
    with records_of(folder) as records:
        assert records.value("select count(*) from visits") == 1


def test_visits_left_out_are_taken_in_once_their_case_is_known(folder):
    visits = "case_id,visit_date\nA1,2025-03-01\nB7,2025-03-02\n"
    load(
        folder, {"cases.csv": "case_id,jaw\nA1,lower\n", "visits.csv": visits}, at=1000
    )
    load(folder, {"cases.csv": "case_id,jaw\nA1,lower\nB7,lower\n"}, at=2000)
    with records_of(folder) as records:
        assert (
            records.value(
                "select count(*) from visits anti join rows_not_in_use using (row_id)"
            )
            == 2
        )


def test_a_file_is_loaded_whole_or_not_at_all(folder, monkeypatch):
    """A fault while its last row goes in leaves nothing of it behind."""
    from pipeline.records import coming_in

    def broken(*args, **kwargs):
        real(*args, **kwargs)
        raise RuntimeError("power cut")

    real = coming_in.put_rows
    monkeypatch.setattr(coming_in, "put_rows", broken)
    with pytest.raises(RuntimeError):
        load(folder, {"deviations.csv": FIRST})
    monkeypatch.setattr(coming_in, "put_rows", real)
    with records_of(folder) as records:
        assert records.value("select count(*) from deviations") == 0
    assert load(folder).counts.new == 3


def test_a_file_that_cannot_be_read_does_not_hinder_the_others(folder):
    report = load(folder, {"deviations.csv": FIRST, "broken.xlsx": b"not a workbook"})
    assert report.count_loaded == 1
    assert [p.exit_code for p in report.problems] == [3]
    assert len(load(folder).problems) == 1, "and it is said again at the next run"

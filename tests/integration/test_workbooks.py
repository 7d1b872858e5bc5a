"""Workbooks of every kind are read whole, or refused in one plain sentence.

``files/old_workbook.xls`` was saved as 'Excel 97-2003' by LibreOffice 7.4; what it
holds is invented and stands in the tests below.
"""

import io
import shutil
import sys
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.errors import UnreadableFile, UnreadableSheet
from pipeline.records import child, workbooks
from pipeline.records.read import FileRead, SheetRead, read_file

FILES = Path(__file__).parent / "files"
PLANTED = "Quittenbaum"


def read(path: Path) -> FileRead:
    return read_file(path, name=path.name)


def only_sheet(path: Path) -> SheetRead:
    (sheet,) = read(path).sheets
    return sheet


def cells(sheet: SheetRead) -> list[list[str]]:
    return sheet.rows.to_numpy().tolist()


def saved(
    folder: Path, fill: Callable[[Worksheet], object], name: str = "a.xlsx"
) -> Path:
    workbook = Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "implants"
    sheet.append(["case_id", "side", "note"])
    fill(sheet)
    workbook.save(folder / name)
    return folder / name


def with_parts(path: Path, change: Callable[[str, str], str]) -> Path:
    """Rewrite the XML parts of a packed file."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, xml in parts.items():
            archive.writestr(name, change(name, xml))
    return path


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Send every workbook to the quick reader."""
    monkeypatch.setattr(workbooks, "QUICK_ABOVE_BYTES", 0)


VALUES: list[list[Any]] = [
    ["007", " left ", "two\nlines"],
    [123456789012, 0.1, 4.0],
    [date(2024, 5, 3), datetime(2024, 5, 3, 14, 30), time(14, 30)],  # noqa: DTZ001
    [True, None, "NULL"],
]
TEXTS = [
    ["007", " left ", "two\nlines"],
    ["123456789012", "0.1", "4"],
    ["2024-05-03", "2024-05-03T14:30:00", "14:30:00"],
    ["yes", "", "NULL"],
]


def fill_values(sheet: Worksheet) -> None:
    for row in VALUES:
        sheet.append(row)


def test_every_value_of_a_workbook_comes_as_text(tmp_path: Path) -> None:
    read_back = read(saved(tmp_path, fill_values))
    (sheet,) = read_back.sheets
    assert read_back.format == "xlsx"
    assert sheet.name == "implants"
    assert cells(sheet) == TEXTS
    assert sheet.row_numbers.tolist() == [2, 3, 4, 5]
    assert "openpyxl" in read_back.notes[0]


@pytest.mark.usefixtures("quick")
def test_a_large_workbook_gives_the_same_text_by_the_quick_reader(
    tmp_path: Path,
) -> None:
    read_back = read(saved(tmp_path, fill_values))
    assert cells(read_back.sheets[0]) == TEXTS
    assert "calamine, which cannot see error cells" in read_back.notes[0]


def test_an_old_workbook_is_read_with_its_hidden_tab() -> None:
    read_back = read(FILES / "old_workbook.xls")
    shown, hidden = read_back.sheets
    assert read_back.format == "xls"
    assert read_back.modified_at is None
    assert cells(shown) == [
        ["007", "left", "planned", "8", "2024-05-03", "yes"],
        ["008 ", "right", "achieved", "7.25", "2024-05-03T14:30:00", "E2"],
        ["123456789012", "left", "planned", "", "", ""],
    ]
    assert hidden.name == "old"
    assert "The tab is hidden; it was read too." in hidden.notes
    assert "1 empty tab skipped: blank." in read_back.notes


def ods(folder: Path, rows: list[list[TableCell]]) -> Path:
    document = OpenDocumentSpreadsheet()
    table = Table(name="Fälle 1")
    for cells_of_row in rows:
        row = TableRow()
        for cell in cells_of_row:
            row.addElement(cell)
        table.addElement(row)
    table.addElement(TableRow(numberrowsrepeated=1_048_000))
    document.spreadsheet.addElement(table)
    document.save(str(folder / "a.ods"))
    return folder / "a.ods"


def ods_text(text: str) -> TableCell:
    cell = TableCell(valuetype="string")
    cell.addElement(P(text=text))
    return cell


def test_an_ods_workbook_is_read(tmp_path: Path) -> None:
    path = ods(
        tmp_path,
        [
            [ods_text("case_id"), ods_text("side"), ods_text("measured_date")],
            [
                ods_text("007"),
                TableCell(valuetype="float", value="4"),
                TableCell(valuetype="date", datevalue="2024-05-03"),
            ],
            [
                TableCell(valuetype="float", value="0.1"),
                TableCell(valuetype="boolean", booleanvalue="true"),
                TableCell(valuetype="date", datevalue="2024-05-03T14:30:00"),
            ],
        ],
    )
    read_back = read(path)
    (sheet,) = read_back.sheets
    assert (read_back.format, sheet.name) == ("ods", "Fälle 1")
    assert cells(sheet) == [
        ["007", "4", "2024-05-03"],
        ["0.1", "yes", "2024-05-03T14:30:00"],
    ]


def test_dates_counted_from_1904_are_the_same_days(tmp_path: Path) -> None:
    # ECMA-376 Part 1, date1904: day 0 is 1904-01-01, 1,462 days after the other base
    workbook = Workbook()
    workbook.epoch = CALENDAR_MAC_1904
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    sheet.append(["case_id", "surgery_date"])
    sheet.append(["P1", 45415 - 1462])  # 2024-05-03 is 45415 from the 1900 base
    sheet["B2"].number_format = "yyyy-mm-dd"
    workbook.save(tmp_path / "a.xlsx")
    assert cells(only_sheet(tmp_path / "a.xlsx")) == [["P1", "2024-05-03"]]


def test_an_error_cell_stays_text(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet["A2"], sheet["B2"] = "P1", "#DIV/0!"
        sheet["B2"].data_type = "e"

    assert cells(only_sheet(saved(tmp_path, fill))) == [["P1", "#DIV/0!", ""]]


@pytest.mark.usefixtures("quick")
def test_error_cells_the_quick_reader_drops_are_counted(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet["A2"], sheet["B2"] = "P1", "#DIV/0!"
        sheet["B2"].data_type = "e"

    read_back = read(saved(tmp_path, fill))
    assert cells(read_back.sheets[0]) == [["P1", "", ""]]
    assert "1 error cell (such as #DIV/0!) came as empty." in read_back.notes


def test_a_formula_without_a_stored_result_is_named(tmp_path: Path) -> None:
    path = saved(tmp_path, lambda sheet: sheet.append(["P1", "=A2", '=""']))

    def store(name: str, xml: str) -> str:  # C2 holds the stored result ''
        head, at, tail = xml.partition('<c r="C2"')
        return head + at + ' t="str"' + tail if at else xml

    sheet = only_sheet(with_parts(path, store))
    assert cells(sheet) == [["P1", "", ""]]
    (note,) = sheet.notes
    assert note.startswith("1 formula without a stored result, read as empty: B2.")


def test_a_stored_result_of_a_formula_is_read(tmp_path: Path) -> None:
    path = saved(tmp_path, lambda sheet: sheet.append(["P1", "=1+2", None]))
    with_parts(
        path,
        lambda _, xml: xml.replace("<v/>", "<v>3</v>").replace("<v />", "<v>3</v>"),
    )
    sheet = only_sheet(path)
    assert cells(sheet) == [["P1", "3", ""]]
    assert sheet.notes == ()


def test_hidden_rows_columns_and_tabs_are_read_and_said(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        for number in range(4):
            sheet.append([f"P{number}", "left", "x"])
        for row in (3, 4, 50):
            sheet.row_dimensions[row].hidden = True
        sheet.column_dimensions["C"].hidden = True
        sheet.sheet_state = "hidden"
        sheet.parent.create_sheet("shown")["A1"] = "case_id"

    hidden, _ = read(saved(tmp_path, fill)).sheets
    assert len(hidden.rows) == 4
    assert hidden.notes == (
        "The tab is hidden; it was read too.",
        "Rows 3-4 are hidden or filtered out of sight; read all the same.",
        "1 hidden column read all the same: C.",
    )


def test_folded_columns_are_no_hidden_ones(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet.append(["P1", "left", "x"])
        sheet.column_dimensions.group("B", "C", hidden=True)

    assert only_sheet(saved(tmp_path, fill)).notes == ()


def test_merged_cells_are_said(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet.append(["P1", "left", None])
        sheet.append([None, "right", None])
        sheet.merge_cells("A2:A3")

    sheet = only_sheet(saved(tmp_path, fill))
    assert cells(sheet) == [["P1", "left", ""], ["", "right", ""]]
    assert sheet.notes[0].startswith("1 merged range (A2:A3)")


def test_a_number_that_cannot_be_a_date_is_said(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet["A2"], sheet["B2"] = "P1", 99_999_999
        sheet["B2"].number_format = "yyyy-mm-dd"

    read_back = read(saved(tmp_path, fill))
    assert cells(read_back.sheets[0]) == [["P1", "#VALUE!", ""]]
    assert any("held no possible date" in note for note in read_back.notes)


def test_a_stray_cell_in_the_last_corner_is_kept_and_named(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet.append(["P1", "left", "x"])
        sheet["XFD1048576"] = "stray"

    sheet = only_sheet(saved(tmp_path, fill))
    assert cells(sheet) == [["P1", "left", "x", ""], ["", "", "", "stray"]]
    assert sheet.row_numbers.tolist() == [2, 1_048_576]
    assert sheet.column_numbers.tolist() == [1, 2, 3, 16_384]
    assert sheet.notes[0].startswith("Row 1048576 has cells to the right")


def test_a_table_that_starts_further_in_keeps_its_places(tmp_path: Path) -> None:
    workbook = Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    sheet["B2"] = "Audit"
    sheet["C4"], sheet["D4"], sheet["C6"] = "case_id", "side", "P1"
    workbook.save(tmp_path / "a.xlsx")
    read_back = only_sheet(tmp_path / "a.xlsx")
    assert read_back.headings == ("case_id", "side")
    assert read_back.heading_row == 4
    assert read_back.row_numbers.tolist() == [6]
    assert read_back.column_numbers.tolist() == [3, 4]


@pytest.mark.usefixtures("quick")
def test_the_quick_reader_keeps_the_places_too(tmp_path: Path) -> None:
    test_a_table_that_starts_further_in_keeps_its_places(tmp_path)


def test_empty_tabs_among_others_are_skipped_with_a_note(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet.append(["P1", "left", "x"])
        sheet.parent.create_sheet("later")
        sheet.parent.create_sheet("spaces")["B2"] = "  "

    read_back = read(saved(tmp_path, fill))
    assert [sheet.name for sheet in read_back.sheets] == ["implants"]
    assert "2 empty tabs skipped: later, spaces." in read_back.notes


def test_a_workbook_of_empty_tabs_is_refused(tmp_path: Path) -> None:
    Workbook().save(tmp_path / "a.xlsx")
    with pytest.raises(UnreadableSheet, match="nothing but empty tabs"):
        read(tmp_path / "a.xlsx")


def test_a_tab_of_two_hundred_columns_is_read(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        for column in range(4, 201):
            sheet.cell(1, column, f"c{column}")
            sheet.cell(2, column, column)

    assert only_sheet(saved(tmp_path, fill)).rows.shape == (1, 200)


def test_decimal_commas_typed_as_text_are_seen(tmp_path: Path) -> None:
    workbook = Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    for row in (["case_id", "depth_mm"], ["P1", "3,2"], ["P2", 1.5]):
        sheet.append(row)
    workbook.save(tmp_path / "a.xlsx")
    read_back = only_sheet(tmp_path / "a.xlsx")
    assert read_back.decimal_sign == "."
    assert "decimal comma in some cells" in read_back.notes[0]


def test_the_time_a_workbook_was_saved_is_read_from_inside(tmp_path: Path) -> None:
    workbook = Workbook()
    workbook.active["A1"] = "case_id"
    workbook.save(tmp_path / "a.xlsx")

    def state(name: str, xml: str) -> str:
        if name != "docProps/core.xml":
            return xml
        head, tag, tail = xml.partition("<dcterms:modified")
        moment = tail[tail.index(">") + 1 : tail.index("</")]
        return head + tag + tail.replace(moment, "2024-05-03T14:30:00Z")

    said = read(with_parts(tmp_path / "a.xlsx", state)).modified_at
    assert said == datetime(2024, 5, 3, 14, 30, tzinfo=UTC)


def test_a_workbook_that_does_not_say_when_it_was_saved_gives_none(
    tmp_path: Path,
) -> None:
    path = saved(tmp_path, fill_values)
    with_parts(path, lambda name, xml: "<x/>" if name == "docProps/core.xml" else xml)
    assert read(path).modified_at is None


def test_a_workbook_one_reader_cannot_open_is_read_by_the_other(tmp_path: Path) -> None:
    path = saved(tmp_path, fill_values)
    with_parts(path, lambda name, xml: "" if name == "xl/theme/theme1.xml" else xml)
    broken = with_parts(path, lambda n, xml: "<no" if n == "docProps/core.xml" else xml)
    read_back = read(broken)
    assert cells(read_back.sheets[0]) == TEXTS
    assert "The reader that sees more could not read this workbook." in read_back.notes


def test_a_workbook_with_macros_is_read(tmp_path: Path) -> None:
    path = saved(tmp_path, fill_values, "a.xlsm")
    assert read(path).format == "xlsm"


def test_paths_with_spaces_and_umlauts_are_read(tmp_path: Path) -> None:
    folder = tmp_path / "Fälle März 2024"
    folder.mkdir()
    assert cells(only_sheet(saved(folder, fill_values, "Übersicht 1.xlsx"))) == TEXTS


def test_an_old_workbook_with_a_password_is_told_apart(tmp_path: Path) -> None:
    # [MS-XLS] FilePass, record 0x002F after BOF, says the rest is encrypted; from memory
    data = bytearray((FILES / "old_workbook.xls").read_bytes())
    start = data.index(bytes.fromhex("0908 1000 0006 0500")) + 20
    data[start : start + 2] = b"\x2f\x00"
    path = tmp_path / "a.xls"
    path.write_bytes(data)
    with pytest.raises(UnreadableFile, match="protected by a password"):
        read(path)


def test_a_workbook_cut_short_is_damaged(tmp_path: Path) -> None:
    path = saved(tmp_path, fill_values)
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(UnreadableFile, match="is damaged"):
        read(path)


def test_a_workbook_with_broken_insides_is_damaged(tmp_path: Path) -> None:
    path = saved(tmp_path, lambda sheet: sheet.append([PLANTED, "left", "x"]))
    with_parts(path, lambda name, xml: xml[:-20] if "sheet1" in name else xml)
    with pytest.raises(UnreadableFile, match="is damaged") as caught:
        read(path)
    assert PLANTED not in str(caught.value)


@pytest.mark.parametrize("size", [301_000_000, 20_000_000])
def test_a_packed_file_that_would_unpack_to_too_much_is_refused_unread(
    tmp_path: Path, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = saved(tmp_path, fill_values)
    with (
        zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet2.xml", "w") as part,
    ):
        for _ in range(size // 1_000_000):
            part.write(bytes(1_000_000))

    def never(*_: object) -> bytes:
        pytest.fail("the workbook was opened")

    monkeypatch.setattr(workbooks, "_output_of_child", never)
    with pytest.raises(UnreadableFile, match="too large or damaged"):
        read(path)


@pytest.mark.usefixtures("quick")
@pytest.mark.skipif(sys.platform == "win32", reason="memory is limited by POSIX only")
def test_a_reader_that_dies_of_memory_leaves_a_plain_sentence(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet["XFD1048576"] = "stray"

    with pytest.raises(UnreadableFile, match="too large or damaged") as caught:
        read(saved(tmp_path, fill))
    assert "CSV UTF-8" in caught.value.hint


def test_a_reader_that_does_not_end_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(child, "TIMEOUT_SECONDS", 0.01)
    with pytest.raises(UnreadableFile, match="reading it was stopped"):
        read(saved(tmp_path, fill_values))


def with_shared_strings(path: Path, strings: str, rows: str) -> Path:
    """Let a workbook keep its texts in the shared table, as spreadsheets save it."""
    of_kind = "openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    of_type = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    added = {
        "[Content_Types].xml": '<Override PartName="/xl/sharedStrings.xml" '
        f'ContentType="application/vnd.{of_kind}"/></Types>',
        "xl/_rels/workbook.xml.rels": '<Relationship Id="rId99" '
        f'Type="{of_type}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": rows + "</sheetData>",
    }

    def change(name: str, xml: str) -> str:
        if name not in added:
            return xml
        last = added[name].rpartition("<")[1] + added[name].rpartition("<")[2]
        return xml.replace(last, added[name])

    with_parts(path, change)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/sharedStrings.xml", strings)
    return path


MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHARED_ROW = '<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>'


def test_texts_from_the_shared_table_are_read(tmp_path: Path) -> None:
    path = with_shared_strings(
        saved(tmp_path, lambda _: None),
        f'<sst {MAIN}><si><r><t>P</t></r><r><t xml:space="preserve"> 1</t></r></si></sst>',
        SHARED_ROW.format(n=2),
    )
    assert cells(only_sheet(path)) == [["P 1", "", ""]]


def test_a_text_repeated_without_end_is_stopped(tmp_path: Path) -> None:
    # one shared text of 30,000 letters, referred to from 20,000 cells: 600 MB
    path = with_shared_strings(
        saved(tmp_path, lambda _: None),
        f"<sst {MAIN}><si><t>{'x' * 30_000}</t></si></sst>",
        "".join(SHARED_ROW.format(n=n) for n in range(2, 20_002)),
    )
    with pytest.raises(UnreadableFile, match="too large or damaged"):
        read(path)


def test_entities_that_grow_are_refused(tmp_path: Path) -> None:
    path = with_shared_strings(
        saved(tmp_path, lambda _: None),
        '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
        f"<sst {MAIN}><si><t>&b;</t></si></sst>",
        SHARED_ROW.format(n=2),
    )
    with pytest.raises(UnreadableFile, match="damaged"):
        read(path)


def test_a_text_that_is_not_in_the_shared_table_is_not_read_as_empty(
    tmp_path: Path,
) -> None:
    path = with_shared_strings(
        saved(tmp_path, lambda _: None), f"<sst {MAIN}/>", SHARED_ROW.format(n=2)
    )
    with pytest.raises(UnreadableFile, match="damaged"):
        read(path)


def test_reading_leaves_no_file_behind_and_says_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    spill = tmp_path / "spill"
    spill.mkdir()
    for variable in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.setenv(variable, str(spill))
    read(saved(tmp_path, lambda sheet: sheet.append([PLANTED, "=1/0", "x"])))
    assert list(spill.iterdir()) == []
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.xlsx", "spill"]
    assert capfd.readouterr() == ("", "")


def test_no_cell_is_quoted_in_any_note(tmp_path: Path) -> None:
    def fill(sheet: Worksheet) -> None:
        sheet.insert_rows(1)
        sheet["A1"] = PLANTED
        sheet.append([PLANTED, f'="{PLANTED}"', PLANTED, PLANTED])
        sheet.row_dimensions[3].hidden = True
        sheet.merge_cells("A3:A4")

    read_back = read(saved(tmp_path, fill))
    notes = [*read_back.notes, *read_back.sheets[0].notes]
    assert len(notes) == 6
    assert PLANTED not in " ".join(notes)


def test_the_working_folder_cannot_slip_its_own_modules_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "openpyxl.py").write_text("raise SystemExit(9)")
    path = shutil.copy(saved(tmp_path, fill_values), tmp_path / "b.xlsx")
    monkeypatch.chdir(tmp_path)
    assert cells(only_sheet(Path(path))) == TEXTS


def test_the_workbook_is_read_as_it_was_opened(tmp_path: Path) -> None:
    """Reading does not change the file, whatever it holds."""
    path = saved(tmp_path, fill_values)
    before = path.read_bytes()
    read(path)
    assert path.read_bytes() == before
    assert io.BytesIO(before).read(2) == b"PK"

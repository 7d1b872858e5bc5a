"""Bad files: one plain message naming file, sheet, row, column and what is allowed."""

import io

import pytest

from tests.audits import fill, invoke, opened

GOOD = "case_id,side,entry_3d_mm,angle_deg\nA1,left,1.2,3\n"
HEADING_BYTES = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@pytest.fixture
def folder(tmp_path, capsys):
    place = tmp_path / "a"
    invoke(capsys, "start", place, "--records", "ready")
    (place / "records" / "records.xlsx").unlink()
    return place


def run(folder, capsys, files):
    fill(folder, files)
    return invoke(capsys, "run", folder)


def locked_workbook():
    """The first bytes of a workbook with a password: an OLE file naming its package."""
    name = "EncryptedPackage".encode("utf-16-le")
    return HEADING_BYTES + b"\0" * 504 + name + b"\0" * 4096


def wide_workbook():
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "deviations"
    more = [f"note {i}" for i in range(196)]
    sheet.append(["case_id", "side", "entry_3d_mm", "angle_deg", *more])
    sheet.append(["A1", "left", 1.2, 3, *range(196)])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.csv", "", ("empty.csv", "empty")),
        ("deviations.csv", "case_id,side,entry_3d_mm\n", ("deviations.csv: 0 rows",)),
        ("book.xlsx", locked_workbook(), ("book.xlsx", "password")),
        ("book.xlsx", GOOD, ("book.xlsx", "text")),
        ("deviations.csv", "side,entry_3d_mm\nleft,1\n", ("deviations.csv", "case_id")),
        ("notes.csv", "colour,size\nblue,3\n", ("notes.csv", "case_id", "colour")),
        (
            "deviations.csv",
            "case_id,side,side,entry_3d_mm\nA1,left,left,1\n",
            ("deviations.csv", "side", "more than once"),
        ),
        ("film.dat", b"\x00\x01\x02", ("seen, not read: 1",)),
    ],
)
def test_a_file_that_cannot_be_used_is_named_and_nothing_is_loaded(
    folder, capsys, name, content, said
):
    code, _, err = run(folder, capsys, {name: content})
    assert code == 3, err
    for word in said:
        assert word in err, err
    assert "Traceback" not in err
    assert not (folder / "audit.duckdb").exists()


def test_no_message_holds_a_value_of_a_row(folder, capsys):
    _, _, err = run(
        folder, capsys, {"deviations.csv": "side,entry_3d_mm\nQuillfeather,1\n"}
    )
    assert "Quillfeather" not in err


def test_an_unknown_coded_value_sets_its_row_aside_with_the_allowed_words(
    folder, capsys
):
    text = "case_id,side,entry_3d_mm,achieved_source\nA1,left,1,telescope\nA2,left,1,cbct\n"
    code, _, err = run(folder, capsys, {"deviations.csv": text})
    assert code == 0, err
    with opened(folder) as audit:
        found = audit.run(
            "select row_number, cell, field, as_written, sentence from checked.findings"
            " where field = 'achieved_source'"
        )
    assert len(found) == 1
    row, cell, field, written, sentence = found[0]
    assert (row, cell, field, written) == (2, "D2", "achieved_source", "telescope")
    assert "scan_body" in sentence


def test_a_sheet_of_two_hundred_columns_is_read_and_its_extras_kept(folder, capsys):
    code, _, err = run(folder, capsys, {"wide.xlsx": wide_workbook()})
    assert code == 0, err
    with opened(folder) as audit:
        assert audit.value("select count(*) from measured.implants") == 1


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_sheet_with_decimal_commas_reads_in_every_usual_encoding(
    folder, capsys, encoding, delimiter
):
    lines = [["case_id", "side", "entry_3d_mm", "angle_deg", "Bemerkung"]]
    entries = ["1,25", "0,75", "2,5", "1,1", "3,45"]
    for i, entry in enumerate(entries):
        lines.append([f"A{i}", "left", entry, f"{i * i + 2},5", "größer"])
    text = "\n".join(delimiter.join(line) for line in lines) + "\n"
    code, _, err = run(folder, capsys, {"deviations.csv": text.encode(encoding)})
    assert code == 0, err
    with opened(folder) as audit:
        values = audit.run("select entry_3d_mm from measured.implants order by 1")
    assert [v for (v,) in values] == [0.75, 1.1, 1.25, 2.5, 3.45]

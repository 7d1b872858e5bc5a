"""`plumbpost published FILE` as typed: a reader's own table of published figures."""

from __future__ import annotations

import pytest

from pipeline.reference import load
from tests.audits import invoke

HEAD = "key,citation,measure,statistic,value,sd,ci_low,ci_high,n_implants,n_patients,source_status\n"
SOUND = "a,One 2020,entry_3d_mm,mean,1.2,0.5,1.0,1.4,40,20,seen\n"


def table(tmp_path, text):
    path = tmp_path / "my figures.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_sound_table_says_so_and_ends_with_0(tmp_path, capsys):
    code, out, err = invoke(capsys, "published", table(tmp_path, HEAD + SOUND))
    assert (code, out) == (0, "")
    assert "1 row; 0 things" in err


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("b,Two 2021,entry_3d_mm,mean,1.9,,1.0,1.4,40,20,seen", "does not contain its mean"),
        ("b,Two 2021,angle_deg,mean,0.06,,,,40,20,seen", "radians"),
        ("b,Two 2021,entry_3d_mm,mean,1.2,0.5,1.4,1.0,40,20,seen", "from high to low"),
        ("b,Two 2021,entry_3d_mm,mean,much,,,,40,20,seen", "value is not a number"),
        ("b,Two 2021,entry_3d_mm,mean,1.3,,,,20,40,seen", "more patients than implants"),
        ("a,Two 2021,entry_3d_mm,mean,1.3,,,,40,20,seen", "key occurs 2 times"),
        (",Two 2021,entry_3d_mm,mean,1.3,,,,40,20,seen", "key is empty"),
    ],
)  # fmt: skip
def test_each_doubt_names_its_row_and_ends_with_1(tmp_path, capsys, row, said):
    path = table(tmp_path, HEAD + SOUND + "\n" + row + "\n")
    code, out, _ = invoke(capsys, "published", path)
    assert code == 1
    assert said in out
    assert out.startswith("row 2 (a)" if row.startswith("a") else "row 3 (")


def test_a_table_with_semicolons_and_a_byte_order_mark_is_read(tmp_path, capsys):
    text = "\ufeff" + (HEAD + SOUND).replace(",", ";")
    assert invoke(capsys, "published", table(tmp_path, text))[0] == 0


def test_rates_of_attachment_events_are_looked_over_too(tmp_path, capsys):
    names = list(load.rows("attachment_events_published")[0])
    row = dict(load.rows("attachment_events_published")[0])
    wrong = {**row, "key": "mine", "measure": "percent_patients", "value": "130"}
    lines = [",".join(names)]
    lines += [",".join(f'"{part[name]}"' for name in names) for part in (row, wrong)]
    code, out, _ = invoke(capsys, "published", table(tmp_path, "\n".join(lines)))
    assert code == 1
    assert "row 3 (mine)" in out
    assert "row 2" not in out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("key,value\na,1\n", "has no column citation, measure, statistic"),
        (b"\xff\xfe\x00\x01", "is not text in UTF-8"),
        ("", "has no column key"),
    ],
)
def test_a_file_that_is_no_such_table_gets_one_sentence(tmp_path, capsys, text, said):
    code, _, err = invoke(capsys, "published", table(tmp_path, text))
    assert code == 2
    assert said in err
    assert "Traceback" not in err

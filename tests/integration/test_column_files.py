"""Parquet and JSON lines are record sheets like any other: the same rows, the same figures.

The Parquet files are written by DuckDB from the format's own types
(parquet.apache.org, Logical Types).
"""

import json
import sys
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import UnreadableFile
from pipeline.records import child
from pipeline.records.read import read_file
from tests.audits import audit_of, invoke, opened

ROWS = (
    ("A1", "left", 1.25, 3.5),
    ("A1", "right", 0.75, 2.0),
    ("A2", "left", 1.1, 4.0),
)
NAMES = ("case_id", "side", "entry_3d_mm", "angle_deg")


def parquet(path: Path, select: str) -> Path:
    with duckdb.connect() as connection:
        connection.execute(f"copy ({select}) to '{path}' (format parquet)")
    return path


def as_parquet(path: Path) -> bytes:
    values = ", ".join(str(row) for row in ROWS)
    columns = ", ".join(NAMES)
    return parquet(
        path, f"select * from (values {values}) as v ({columns})"
    ).read_bytes()


def as_csv() -> str:
    return "\n".join([",".join(NAMES), *(",".join(map(str, r)) for r in ROWS)]) + "\n"


def as_json_lines() -> str:
    return "".join(json.dumps(dict(zip(NAMES, r, strict=True))) + "\n" for r in ROWS)


def figures(folder: Path, files: dict[str, str | bytes]) -> list[tuple]:
    audit_of(folder, files)
    with opened(folder) as audit:
        return audit.run(
            "select implant_key, entry_3d_mm, angle_deg from measured.implants order by all"
        )


def test_the_same_rows_give_the_same_figures_whatever_the_file(tmp_path: Path) -> None:
    wanted = figures(tmp_path / "a", {"deviations.csv": as_csv()})
    assert len(wanted) == 3
    assert wanted == figures(tmp_path / "b", {"deviations.jsonl": as_json_lines()})
    assert wanted == figures(tmp_path / "c", {"deviations.NDJSON": as_json_lines()})
    content = as_parquet(tmp_path / "x.parquet")
    assert wanted == figures(tmp_path / "d", {"deviations.parquet": content})


def test_every_kind_of_cell_comes_as_its_shortest_exact_text(tmp_path: Path) -> None:
    path = parquet(
        tmp_path / "x.parquet",
        """select 33.0::double as a, 0.1::float as b, true as c, false as d,
            date '2024-05-01' as e, timestamp '2024-05-01 00:00:00' as f,
            timestamp '2024-05-01 10:30:00' as g, timestamptz '2024-05-01 10:30:00+00' as h,
            1.50::decimal(5, 2) as i, 100::decimal(5, 0) as j, null::double as k,
            'nan'::double as l, 9007199254740993::bigint as m, 'ä ' as n, 7::utinyint as o,
            1e-7::double as p""",
    )
    (sheet,) = read_file(path, name="x.parquet").sheets
    assert sheet.rows.to_numpy().tolist() == [
        [
            "33", "0.1", "yes", "no", "2024-05-01", "2024-05-01", "2024-05-01T10:30:00",
            "2024-05-01T10:30:00Z", "1.5", "100", "", "nan", "9007199254740993", "ä ", "7",
            "1e-07",
        ]
    ]  # fmt: skip
    assert sheet.row_numbers.tolist() == [1]


def test_rows_keep_their_order_over_many_row_groups(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    with duckdb.connect() as connection:
        connection.execute(
            f"copy (select range as a from range(300000)) to '{path}' (row_group_size 5000)"
        )
    (sheet,) = read_file(path, name="x.parquet").sheets
    assert sheet.rows[0].tolist() == [str(number) for number in range(300_000)]


@pytest.mark.parametrize(
    ("select", "words"),
    [
        ("select [1, 2] as points, 1 as a", "1 column of lists.*: points"),
        ("select {'x': 1} as point", "1 column of lists.*: point"),
        ("select 'x'::blob as bytes", "1 column of lists.*: bytes"),
        ("select 1 as a where false", "holds no rows"),
    ],
)
def test_what_is_no_cell_is_refused_with_its_headings(
    tmp_path: Path, select: str, words: str
) -> None:
    path = parquet(tmp_path / "x.parquet", select)
    with pytest.raises(UnreadableFile, match=words) as caught:
        read_file(path, name="x.parquet")
    assert caught.value.hint


def test_a_damaged_file_and_one_of_another_kind_are_said(tmp_path: Path) -> None:
    content = as_parquet(tmp_path / "x.parquet")
    path = tmp_path / "y.parquet"
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(UnreadableFile, match="too large or damaged"):
        read_file(path, name="y.parquet")
    path.write_bytes(b"case_id,side\nA1,left\n")
    with pytest.raises(UnreadableFile, match="is no Parquet file"):
        read_file(path, name="y.parquet")


def test_a_file_name_with_the_signs_of_a_pattern_is_read_as_it_stands(
    tmp_path: Path,
) -> None:
    content = as_parquet(tmp_path / "x.parquet")
    path = tmp_path / "ward [1]" / "deviations [2].parquet"
    path.parent.mkdir()
    path.write_bytes(content)
    (sheet,) = read_file(path, name=path.name).sheets
    assert len(sheet.rows) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="no limits of a process there")
def test_a_file_that_unpacks_to_too_much_ends_its_own_process_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = parquet(
        tmp_path / "x.parquet", "select repeat('x', 1000) as a from range(3000000)"
    )
    assert path.stat().st_size < 1_000_000
    with pytest.raises(UnreadableFile, match="too large or damaged"):
        read_file(path, name="x.parquet")


def test_reading_that_does_not_end_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(child, "TIMEOUT_SECONDS", 0.01)
    path = parquet(tmp_path / "x.parquet", "select 1 as a")
    with pytest.raises(UnreadableFile, match="reading it was stopped"):
        read_file(path, name="x.parquet")


def test_a_bad_line_is_one_sentence_and_the_other_files_are_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = audit_of(tmp_path / "a", {"deviations.csv": as_csv()}, up_to="checked")
    (folder / "records" / "events.jsonl").write_text('{"case_id": ["A1"]}\n')
    code, _, err = invoke(capsys, "run", str(folder))
    assert code == 0, err
    assert "events.jsonl, line 1, holds a list or an object under 'case_id'" in err
    assert "A1" not in err

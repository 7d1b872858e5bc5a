"""Read one file of records/, whatever it is, ours or foreign."""

from __future__ import annotations

from pathlib import Path

from pipeline.records.file_kinds import kind_of
from pipeline.records.file_read import FileRead, SheetRead
from pipeline.records.folder import readable_files

__all__ = ["FileRead", "SheetRead", "read_file", "readable_files"]


def read_file(path: Path, *, name: str) -> FileRead:
    """Read every sheet of a file, each cell as text exactly as it stands there.

    Args:
        path: the file; .csv, .tsv, .tab, .txt, .xlsx, .xlsm, .ods, .xls, .jsonl,
            .ndjson or .parquet.
        name: the file as shown to people, its path below records/.

    Returns:
        Its sheets that hold anything, and what there is to say about them.

    Raises:
        UnreadableFile: the file cannot be read; one sentence and a hint.
        UnreadableSheet: it can be opened, but no sheet in it can be used.
    """
    kind = kind_of(path, name=name)
    if kind == "text":
        from pipeline.records.text_files import read_text

        return read_text(path, name=name)
    if kind == "json_lines":
        from pipeline.records.json_lines import read_json_lines

        return read_json_lines(path, name=name)
    if kind == "parquet":
        from pipeline.records.parquet import read_parquet

        return read_parquet(path, name=name)
    from pipeline.records.workbooks import read_workbook

    return read_workbook(path, name=name, kind=kind)

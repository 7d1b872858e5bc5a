"""Parquet files: read in a limited child process, put into one sheet."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.errors import UnreadableFile
from pipeline.records.child import output_of_child
from pipeline.records.file_kinds import TOO_LARGE_HINT, too_large_or_damaged
from pipeline.records.file_read import FileRead
from pipeline.records.grid import Body, sheet_of
from pipeline.records.phrases import counted

CHILD = "pipeline.records.parquet_child"


def read_parquet(path: Path, *, name: str) -> FileRead:
    """Read a Parquet file: one sheet without a name, rows numbered from 1.

    Args:
        path: the file.
        name: the file as shown to people.

    Raises:
        UnreadableFile: it is damaged or too large, has no rows, or holds lists,
            structures or bytes, which no cell of a record sheet is.
    """
    output = output_of_child(CHILD, [str(path.resolve())], None)
    if output is None:
        raise too_large_or_damaged(name, hint=TOO_LARGE_HINT)
    first, *lines = output.splitlines()
    facts = json.loads(first)
    _refuse_nested(facts["refused"], name)
    columns = dict(enumerate(json.loads(line) for line in lines))
    if not columns or not columns[0]:
        raise UnreadableFile(
            f"{name} holds no rows.",
            hint="Export it again, or take it out of the folder.",
        )
    cells = pd.DataFrame(columns, dtype="str")
    body = Body(
        tuple(facts["columns"]),
        0,
        cells,
        np.arange(1, len(cells) + 1, dtype=np.int64),
        np.arange(1, len(lines) + 1, dtype=np.int64),
    )
    return FileRead("parquet", None, (sheet_of(body, name="", where=name),))


def _refuse_nested(headings: list[str], name: str) -> None:
    if headings:
        shown = ", ".join(headings[:5]) + (" .." if len(headings) > 5 else "")
        raise UnreadableFile(
            f"{name} has {counted(len(headings), 'column')} of lists, structures or "
            f"bytes, not of single values: {shown}.",
            hint="Leave such columns out, or give each value a column of its own.",
        )

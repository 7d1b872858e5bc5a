"""What a reader hands on: a file's sheets, every cell as text, nothing lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class SheetRead:
    """One sheet as it stands in the file.

    Attributes:
        name: the tab as named in the workbook; '' for a file without tabs.
        headings: the cells of the heading row, as written; '' where a column holds
            cells but no heading. May hold duplicates.
        rows: shape (n, k), one column per heading, labelled 0 .. k-1; every cell is
            text, never null, '' = empty. Wholly empty rows are left out.
        row_numbers: shape (n,), the number of each row as the spreadsheet or editor
            shows it (in a text file the line on which the row starts; in a Parquet file from 1).
        column_numbers: shape (k,), the place of each column in the file, A = 1.
        heading_row: the number of the heading row; 0 where headings are no row.
        decimal_sign: '.' or ','.
        encoding: how the letters of a text file were read; '' for a workbook.
        delimiter: what stands between the cells of a text file; '' for a workbook
            or a file of one column.
        notes: sentences for the person; never the text of a cell.
        above: rows above the heading row, as (row number, k cells); a heading may be
            written over several rows.
    """

    name: str
    headings: tuple[str, ...]
    rows: pd.DataFrame
    row_numbers: NDArray[np.int64]
    column_numbers: NDArray[np.int64]
    heading_row: int
    decimal_sign: str
    encoding: str = ""
    delimiter: str = ""
    notes: tuple[str, ...] = ()
    above: tuple[tuple[int, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class FileRead:
    """One file as read.

    Attributes:
        format: csv, tsv, txt, tab, xlsx, xlsm, ods, xls, jsonl, ndjson or parquet.
        modified_at: when the workbook says it was last saved, in UTC; None when the
            file does not say (the file's own time then has to do).
        sheets: the sheets that hold anything, in the file's order.
        notes: sentences about the file as a whole; never the text of a cell.
    """

    format: str
    modified_at: datetime | None
    sheets: tuple[SheetRead, ...]
    notes: tuple[str, ...] = ()

"""The process that reads one workbook under limits and then ends.

A damaged or hostile workbook can make a reader eat all memory or never end, and one
of the readers then ends the process: so it is this process that ends. The workbook
comes in on stdin; out on stdout go one JSON line a row, tab after tab, and last one
line of facts. Nothing is written to disk, and stderr is thrown away by the parent.

Called as ``python -m pipeline.records.workbook_child KIND READER``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import suppress
from typing import TYPE_CHECKING

from pipeline.records.child import limit_this_process
from pipeline.records.workbook_cells import WorkbookFacts

if TYPE_CHECKING:
    from pipeline.records.workbook_readers import Tab

LIMIT_LETTERS = 400_000_000
"""A text stored once may stand in a million cells."""


class _TooLarge(Exception):
    """The cells hold more text than a record sheet ever does."""


def main(kind: str, reader: str) -> int:
    """Read the workbook on stdin and write its rows and facts to stdout.

    Args:
        kind: xlsx, ods or xls.
        reader: openpyxl or calamine; calamine is tried when openpyxl cannot.

    Returns:
        0; a workbook that cannot be read is said in the facts.
    """
    limit_this_process()
    blob = sys.stdin.buffer.read()
    try:
        facts = _read(blob, kind, reader)
    except (MemoryError, _TooLarge):
        facts = WorkbookFacts(failure="too_large")
    except Exception as error:  # noqa: BLE001  any fault of a foreign file ends here
        is_locked = type(error).__name__ == "PasswordError"
        facts = WorkbookFacts(failure="password" if is_locked else "damaged")
    sys.stdout.buffer.write(facts.to_json().encode("ascii") + b"\n")
    return 0


def _read(blob: bytes, kind: str, reader: str) -> WorkbookFacts:
    tabs, reader_used = _tabs(blob, kind, reader)
    facts = WorkbookFacts(reader_used, is_second_choice=reader_used != reader)
    count_letters = 0
    for tab, rows in tabs:
        for line in _lines(rows):
            tab.count_rows += 1
            count_letters += len(line)
            if count_letters > LIMIT_LETTERS:
                raise _TooLarge
            sys.stdout.buffer.write(line)
        facts.tabs.append(tab)
    if kind == "xlsx":
        from pipeline.records.workbook_readers import modified_of

        with suppress(Exception):
            facts.modified = modified_of(blob)
    return facts


def _tabs(blob: bytes, kind: str, reader: str) -> tuple[list[Tab], str]:
    from pipeline.records.workbook_readers import tabs_by_calamine, tabs_by_openpyxl

    if reader == "openpyxl":
        try:
            return tabs_by_openpyxl(blob), reader
        except Exception:  # noqa: BLE001  odd style sheets and drawings trip it
            return tabs_by_calamine(blob, kind), "calamine"
    return tabs_by_calamine(blob, kind), reader


def _lines(rows: Iterator[tuple[int, list[int], list[str]]]) -> Iterator[bytes]:
    for row in rows:
        yield json.dumps(row, separators=(",", ":")).encode("ascii") + b"\n"


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))

"""JSON lines: one object a row, its keys the headings (RFC 8259, a line each)."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pandas as pd

from pipeline.errors import UnreadableFile
from pipeline.records.file_kinds import opened
from pipeline.records.file_read import FileRead
from pipeline.records.grid import Body, sheet_of

ONE_OBJECT = 'Each line is one row, such as {"case_id": "A1", "side": "left"}.'
MOST_DIGITS = 18
"""A number of more digits before the point, or noughts after it, is kept as written."""


class _RepeatedKey(Exception):
    """An object says two things under one heading."""


def read_json_lines(path: Path, *, name: str) -> FileRead:
    """Read a file of JSON lines: one sheet without a name.

    Numbers come as the shortest exact text, true and false as yes and no, null as
    empty. A row may leave headings out.

    Args:
        path: the file, known not to be empty.
        name: the file as shown to people.

    Raises:
        UnreadableFile: it is not UTF-8, or a line is not one flat object.
    """
    with opened(path, name=name) as handle:
        text = _decoded(handle.read(), name)
    rows: dict[int, dict[str, str]] = {}
    # not splitlines(): a text may hold other signs that it would take for a new line
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip():
            rows[number] = _row(line, f"{name}, line {number},")
    headings = tuple(dict.fromkeys(key for row in rows.values() for key in row))
    if not headings:
        raise UnreadableFile(
            f"{name} holds no rows with anything in them.", hint=ONE_OBJECT
        )
    cells = pd.DataFrame(
        [[row.get(key, "") for key in headings] for row in rows.values()], dtype="str"
    )
    body = Body(
        headings,
        0,
        cells,
        np.array(list(rows), dtype=np.int64),
        np.arange(1, len(headings) + 1, dtype=np.int64),
    )
    sheet = sheet_of(body, name="", where=name, encoding="utf-8")
    return FileRead(path.suffix.lower().lstrip("."), None, (sheet,))


def _decoded(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(
            f"{name} is not written in UTF-8, which JSON lines are.",
            hint="Export it again as UTF-8.",
        ) from None


def _row(line: str, where: str) -> dict[str, str]:
    try:
        row = json.loads(
            line,
            parse_float=_shortest,
            parse_int=_shortest,
            parse_constant=str,
            object_pairs_hook=_object,
        )
    except _RepeatedKey:
        raise UnreadableFile(
            f"{where} has the same key twice.", hint="Keep one of the two."
        ) from None
    except RecursionError:
        _refuse_nested(where, "")
    except ValueError:
        raise UnreadableFile(f"{where} is not JSON.", hint=ONE_OBJECT) from None
    if not isinstance(row, dict):
        raise UnreadableFile(f"{where} is not an object.", hint=ONE_OBJECT)
    return {key: _cell(value, key, where) for key, value in row.items()}


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _RepeatedKey
    return found


def _cell(value: Any, key: str, where: str) -> str:
    if isinstance(value, dict | list):
        _refuse_nested(where, key)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value or ""


def _refuse_nested(where: str, key: str) -> NoReturn:
    under = f" under {key!r}" if key else ""
    raise UnreadableFile(
        f"{where} holds a list or an object{under}, not one value.",
        hint="Give each value a key of its own, or export the sheet as CSV.",
    )


def _shortest(text: str) -> str:
    """Return a number as the shortest exact text: 33.0 is 33, 1.50 is 1.5.

    >>> _shortest("33.0"), _shortest("1.50"), _shortest("-2e-3"), _shortest("1e999")
    ('33', '1.5', '-0.002', '1e999')
    """
    number = Decimal(text)
    if not number:
        return "0"
    if abs(number.adjusted()) > MOST_DIGITS:
        return text
    plain = format(number, "f")
    return plain.rstrip("0").rstrip(".") if "." in plain else plain

"""The worked examples as the page of checks shows them; writes ``reports/CHECKS.md``.

Run as ``python -m tests.spec.check_page``; ``make definitions`` does it.
"""

from __future__ import annotations

from typing import Any

from pipeline.bundled import folder
from pipeline.reported.check_pages import Worked, checks_text, table_of_cells
from tests.spec.check_examples import Example, Row
from tests.spec.test_checks_spec import EXAMPLES

MOST_CELLS = 6
ROWS_IN_FULL = 3
COORDINATES = ("_x_mm", "_y_mm", "_z_mm")


def worked() -> dict[str, Worked]:
    """Every example in words, by check_id."""
    return {example.check_id: _worked(example) for example in EXAMPLES}


def text() -> str:
    """The page as it should be."""
    return checks_text(worked())


def _worked(example: Example) -> Worked:
    apart = _apart(example)
    bad = _in_words(example.bad, apart)
    if example.elsewhere:
        bad += f"; in a second file {_in_words(example.elsewhere, None)}"
    if example.again:
        bad += "; then " + {
            "in use": "the file is loaded again without the row",
            "older": "an older copy of the file is loaded",
        }.get(example.again, example.again)
    return Worked(_in_words(example.good, apart), bad, example.says)


def _apart(example: Example) -> list[list[str]] | None:
    """By row, the fields that differ between the good and the bad one."""
    pairs = list(zip(example.good, example.bad, strict=False))
    if len(example.good) != len(example.bad) or any(a[0] != b[0] for a, b in pairs):
        return None
    return [
        [
            name
            for name in dict.fromkeys((*one, *other))
            if str(one.get(name, "")) != str(other.get(name, ""))
        ]
        for (_, one), (_, other) in pairs
    ]


def _in_words(rows: tuple[Row, ...], apart: list[list[str]] | None) -> str:
    if len(rows) > ROWS_IN_FULL:
        return _down_a_column(rows, apart)
    told = apart or [[] for _ in rows]
    shown = [
        _row(sheet, cells, names)
        for (sheet, cells), names in zip(rows, told, strict=True)
    ]
    if len(set(shown)) == 1 and len(shown) > 1:
        return f"{len(shown)} rows of {shown[0]}"
    return "; ".join(shown)


def _row(sheet: str, cells: dict[str, Any], apart: list[str]) -> str:
    """One row: the cells that differ, else those that are no coordinates."""
    names = [name for name in apart if name != "case_id"] or [
        name for name in cells if not _is_coordinate(name)
    ]
    listed = [(name, _cell(cells.get(name, ""))) for name in names][:MOST_CELLS]
    return f"{sheet}: {table_of_cells(listed)}"


def _is_coordinate(name: str) -> bool:
    return name.startswith(("planned_", "achieved_")) and name[-5:] in COORDINATES


def _down_a_column(rows: tuple[Row, ...], apart: list[list[str]] | None) -> str:
    """Many rows: the columns that differ, cell under cell."""
    sheets = " and ".join(dict.fromkeys(sheet for sheet, _ in rows))
    names = dict.fromkeys(n for one in apart for n in one) if apart else rows[0][1]
    columns = [name for name in names if not _is_own_number(rows, name)][:2]
    told = ", ".join(
        f"`{name}` " + ", ".join(_cell(c.get(name, "")) or "(empty)" for _, c in rows)
        for name in columns
    )
    return f"{len(rows)} rows of {sheets}" + (f": {told}" if told else "")


def _is_own_number(rows: tuple[Row, ...], name: str) -> bool:
    """Tell whether a case number only keeps the cases of an example apart."""
    return name == "case_id" and all(" " in str(c.get(name, " ")) for _, c in rows)


def _cell(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    path = folder("reports") / "CHECKS.md"
    path.write_text(text(), encoding="utf-8")
    print(path)  # noqa: T201 - a script

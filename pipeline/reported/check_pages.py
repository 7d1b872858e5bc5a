"""The page of checks, ``reports/CHECKS.md``: what is looked at, why, and what to do.

Every line comes from the rows of ``reference/checks/``, the meanings of ``columns.csv``
and worked examples that are handed in, which are also tests.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from pipeline.checked.checks import Check, all_checks, by_id
from pipeline.checked.vocabulary import RUN_DATE
from pipeline.reference import load
from pipeline.reported.wording import Words

ANY_SHEET = "all"


@dataclass(frozen=True, slots=True)
class Worked:
    """A worked example of a check.

    Attributes:
        passes: cells that pass, in words.
        fails: cells that fail.
        says: the sentence that is said of the failure.
    """

    passes: str
    fails: str
    says: str


def checks_text(examples: Mapping[str, Worked]) -> str:
    """Return the page of checks as Markdown.

    Args:
        examples: by check_id; a check of many sheets needs one of any of them.

    Raises:
        KeyError: a check has no example.
    """
    words = Words()
    parts = [
        f"# {words('definitions.checks.heading')}",
        words("definitions.checks.intro"),
    ]
    rows = [
        (name, row)
        for name in sorted(p.stem for p in (load.FOLDER / "checks").glob("*.csv"))
        for row in load.rows(f"checks/{name}")
    ]
    parts.append(
        words(
            "definitions.checks.count",
            rows=len(rows),
            checks=len(all_checks()),
            stops=sum(row["severity"] != "warn" for _, row in rows),
        )
    )
    for sheet in (ANY_SHEET, *load.sheets()):
        of_sheet = [row for name, row in rows if _section(name, row) == sheet]
        if of_sheet:
            title = (
                words("definitions.checks.any_sheet")
                if sheet == ANY_SHEET
                else words("definitions.checks.sheet", sheet=sheet)
            )
            parts.append(f"## {title}")
            parts += [_of_check(words, row, examples) for row in of_sheet]
    return "\n\n".join(parts).replace("\u00a0", " ") + "\n"


def _section(name: str, row: Mapping[str, str]) -> str:
    """Return the section a row belongs to: its sheet, or any sheet."""
    return ANY_SHEET if name == ANY_SHEET else row["sheet"].partition("|")[0]


def _of_check(
    words: Words, row: Mapping[str, str], examples: Mapping[str, Worked]
) -> str:
    """Return one check: a heading and a list."""
    checks = [by_id()[name] for name in _ids_of(row)]
    with_example = [check for check in checks if check.check_id in examples]
    if not with_example:
        raise KeyError(f"{row['check_id']} has no worked example")
    shown = with_example[0]
    worked = examples[shown.check_id]
    lines = {
        "looks_at": words(
            "definitions.checks.evidence",
            meaning=_meaning(shown),
            place=words(f"definitions.checks.level.{shown.level}"),
        ),
        "passes": _limits(words, shown),
        "why": words(
            "definitions.checks.because",
            why=_sentence(row["why_limit"]),
            source=row["source"],
        ),
        "sets_aside": words(
            "definitions.checks.severity",
            severity=row["severity"],
            what=words(f"definitions.checks.sets_aside.{_aside(shown)}"),
        ),
        "you_can": row["suggestion"],
        "example": words(
            "definitions.checks.example",
            passes=worked.passes,
            fails=worked.fails,
            says=worked.says,
        ),
    }
    if len(checks) > 1:
        sheets = ", ".join(f"`{check.sheet}`" for check in checks)
        lines = {"sheets": sheets} | lines
    listed = "\n".join(
        f"- *{words(f'definitions.checks.line.{name}')}*: {text}"
        for name, text in lines.items()
    )
    return f"### `{row['check_id']}`\n\n{listed}"


def _ids_of(row: Mapping[str, str]) -> list[str]:
    """Return the ids of the checks that a row of the tables stands for."""
    if row["check_id"] in by_id():
        return [row["check_id"]]
    sheets = load.sheets() if row["sheet"] == ANY_SHEET else row["sheet"].split("|")
    name = row["check_id"].removeprefix("row-")
    return [f"{sheet.replace('_', '-')}-{name}" for sheet in sheets]


@cache
def _meanings() -> Mapping[tuple[str, str], str]:
    return {
        (row["table"], row["column"]): row["meaning"] for row in load.rows("columns")
    }


def _meaning(check: Check) -> str:
    return _meanings()[check.evidence_table, check.evidence]


def _limits(words: Words, check: Check) -> str:
    low, high = (
        words("definitions.checks.run_day") if limit == RUN_DATE else limit
        for limit in (check.low, check.high)
    )
    is_told_off = check.evidence.startswith(("is_", "count_"))
    if is_told_off and (low, high) in {("", "0"), ("1", "")}:
        return low or high
    key = "between" if low and high else "at_least" if low else "at_most"
    return words(f"definitions.checks.limit.{key}", low=low, high=high)


def _aside(check: Check) -> str:
    return check.reach if check.sets_aside else "nothing"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def table_of_cells(cells: Iterable[tuple[str, str]]) -> str:
    """Return fields and cells in words, such as ``side`` left, ``midline_mm`` 8."""
    return ", ".join(f"`{name}` {value or '(empty)'}" for name, value in cells)

"""Text that a spreadsheet would take for a formula, made harmless.

A cell that begins with one of these signs is run by a spreadsheet when it is opened or
typed over. In a workbook such text is marked as text; in a csv file, which cannot mark
anything, an apostrophe goes in front of it.
"""

from __future__ import annotations

import re

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a formula can begin with (OWASP, "CSV Injection"), as recalled."""

_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")
_NOT_IN_A_WORKBOOK = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")


def could_be_formula(text: str) -> bool:
    """Tell whether a spreadsheet could take a text for a formula.

    >>> could_be_formula("=1+1"), could_be_formula("-0.5"), could_be_formula("left")
    (True, False, False)
    """
    return text.startswith(FORMULA_SIGNS) and not _NUMBER.fullmatch(text)


def for_csv(text: str) -> str:
    """Return a text as it may stand in a csv file that a spreadsheet opens."""
    return f"'{text}" if could_be_formula(text) else text


def for_csv_sql(column: str) -> str:
    """Return a column of text as SQL that does to each cell what `for_csv` does.

    Args:
        column: the column, quoted as SQL wants it.
    """
    signs = ", ".join(f"chr({ord(sign)})" for sign in FORMULA_SIGNS)
    is_number = f"regexp_full_match({column}, '{_NUMBER.pattern}')"
    is_formula = f"left({column}, 1) in ({signs}) and not {is_number}"
    return f"if({is_formula}, chr(39) || {column}, {column})"


def for_workbook(text: str) -> str:
    """Return a text without the characters that a workbook file cannot hold."""
    return _NOT_IN_A_WORKBOOK.sub("\ufffd", text)

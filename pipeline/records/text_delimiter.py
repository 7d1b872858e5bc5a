"""What stands between the cells of a text file."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from itertools import islice

from pipeline.records.headings import ENOUGH_KNOWN, ROWS_SEARCHED, count_known

DELIMITERS = (",", ";", "\t", "|")
SAMPLE_BYTES = 65_536
SAMPLE_LINES = 100
_SAYS_SO = re.compile(r'"?sep=([,;\t|])"?\r?\n')


@dataclass(frozen=True, slots=True)
class Delimiter:
    """What stands between cells.

    Attributes:
        sign: one of DELIMITERS, or '' for a file of one column.
        count_lines_before: lines that only name the delimiter ('sep=;'), no cells.
    """

    sign: str
    count_lines_before: int = 0


def delimiter_of(utf8: bytes) -> Delimiter:
    """Find the delimiter of a text.

    A first line 'sep=;' is believed. Then the delimiter that makes a row name at
    least two known fields is the one; only foreign headings are left to clevercsv.
    """
    sample = _sample(utf8)
    said = _SAYS_SO.match(sample)
    if said:
        return Delimiter(said.group(1), 1)
    known = {sign: _most_known(sample, sign) for sign in DELIMITERS}
    best = max(DELIMITERS, key=lambda sign: known[sign])
    if known[best] >= ENOUGH_KNOWN:
        return Delimiter(best)
    present = [sign for sign in DELIMITERS if sign in sample]
    return Delimiter(_by_shape(sample, present) if present else "")


def _sample(utf8: bytes) -> str:
    head = utf8[:SAMPLE_BYTES]
    if len(utf8) > SAMPLE_BYTES:
        head = head[: head.rfind(b"\n") + 1] or head
    return head.decode("utf-8", errors="ignore")


def _most_known(sample: str, sign: str) -> int:
    if sign not in sample:
        return 0
    reader = csv.reader(io.StringIO(sample, newline=""), delimiter=sign)
    try:
        rows = list(islice((row for row in reader if any(row)), ROWS_SEARCHED))
    except csv.Error:
        return 0
    return max(map(count_known, rows), default=0)


def _by_shape(sample: str, present: list[str]) -> str:
    from clevercsv import Detector

    lines = "".join(islice(io.StringIO(sample, newline=""), SAMPLE_LINES))
    found = Detector().detect(lines, delimiters=present)
    return "" if found is None else str(found.delimiter)

"""The tables of README.md, made from the truths and the faults themselves."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

from synthetic_data.demo import Row
from synthetic_data.truths import Truths

BLOCK = re.compile(r"(<!-- (\w+): generated -->\n).*?(<!-- end -->)", re.DOTALL)


def truths_table(truths: Truths) -> str:
    """Return the planted truths as a table, the parts of one truth on one line."""
    lines = [
        "| what | truth | value | unit | meaning |",
        "| --- | --- | --- | --- | --- |",
    ]
    rows = ((*row[0].partition(" ")[::2], *row[1:]) for row in truths.rows())
    for (name, group), parts in groupby(rows, key=lambda row: (row[0], row[2])):
        held = list(parts)
        values = ", ".join(f"{row[3]:g}" for row in held)
        names = ", ".join(row[1] for row in held if row[1])
        meaning = held[0][5] + (f" ({names})" if names else "")
        lines.append(f"| {group} | `{name}` | {values} | {held[0][4]} | {meaning} |")
    return "\n".join(lines)


def faults_table(faults: Iterable[Row]) -> str:
    """Return the planted faults as a table."""
    lines = [
        "| kind | sheet | row | case | meaning |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| `{row['kind']}` | {row['sheet']} | {row['row']} | {row['case_id']} "
        f"| {row['meaning']} |"
        for row in faults
    ]
    return "\n".join(lines)


def refreshed(text: str, truths: Truths, faults: Iterable[Row]) -> str:
    """Return a README's text with its generated tables made anew."""
    tables = {"truths": truths_table(truths), "faults": faults_table(faults)}
    return BLOCK.sub(lambda found: found[1] + tables[found[2]] + "\n" + found[3], text)


def refresh(path: Path, truths: Truths, faults: Iterable[Row]) -> None:
    """Make the generated tables of a README anew."""
    text = path.read_text(encoding="utf-8")
    path.write_text(refreshed(text, truths, faults), encoding="utf-8", newline="\n")

"""Which layout fits a sheet: exactly one must, or the sheet is not loaded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.records.header_rows import Table, table_with
from pipeline.records.layout_model import SAME_TAB, Join, Layout

if TYPE_CHECKING:
    from pipeline.records.file_read import FileRead, SheetRead


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A layout that fits a sheet.

    Attributes:
        layout: the layout.
        table: the sheet under its headings.
        joined: the other tabs it brings in, by the name of the join.
        delimiter: what stands between the cells of a text file; '' for a workbook.
    """

    layout: Layout
    table: Table
    joined: Mapping[str, Table]
    delimiter: str = ""

    @property
    def tabs_used(self) -> set[str]:
        """The tabs whose rows it takes in."""
        return {self.table.tab, *(table.tab for table in self.joined.values())}


@dataclass(frozen=True, slots=True)
class NoFit:
    """A layout that does not fit a sheet, and why.

    Attributes:
        layout: the layout.
        because: a clause such as ``needs the heading 'Site'``.
        count_missing: headings missing; large where the name already differs.
    """

    layout: Layout
    because: str
    count_missing: int


OTHER_NAME = 1_000


def look(
    layout: Layout, file: FileRead, sheet: SheetRead, *, source: str
) -> Fit | NoFit:
    """Tell whether a layout fits a sheet of a file."""
    if layout.files and not _is_named(source, layout.files):
        return NoFit(layout, "is for files of another name", OTHER_NAME)
    if layout.tab and not fnmatch(sheet.name.casefold(), layout.tab.casefold()):
        return NoFit(layout, f"is for the tab {layout.tab!r}", OTHER_NAME)
    table, missing = table_with(sheet, layout.needs, layout.header_rows)
    if table is None:
        return NoFit(layout, f"needs {_headings(missing)}", len(missing))
    lacking = [name for name in layout.also_needs() if table.place(name) is None]
    if lacking:
        return NoFit(layout, f"needs {_headings(lacking)}", len(lacking))
    joined = {}
    for join in layout.joins:
        found = _joined(join, file, table)
        if isinstance(found, str):
            return NoFit(layout, found, 1)
        joined[join.name] = found
    return Fit(layout, table, joined, sheet.delimiter)


def _is_named(source: str, files: Sequence[str]) -> bool:
    name = PurePosixPath(source).name.casefold()
    return any(
        fnmatch(name, pattern.casefold()) or fnmatch(source.casefold(), pattern.casefold())
        for pattern in files
    )  # fmt: skip


def _headings(missing: Sequence[str]) -> str:
    shown = ", ".join(repr(heading) for heading in missing[:5])
    more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
    return f"the heading{'s' if len(missing) > 1 else ''} {shown}{more}"


def _joined(join: Join, file: FileRead, table: Table) -> Table | str:
    """Return the table a join brings in, or why it cannot."""
    for heading in join.on:
        if table.place(heading) is None:
            return f"needs the heading {heading!r}"
    their = list(join.their)
    if join.only is not None:
        their.append(join.only.heading)
    if join.tab == SAME_TAB:
        lacking = [heading for heading in their if table.place(heading) is None]
        return f"needs {_headings(lacking)}" if lacking else table
    for sheet in file.sheets:
        if sheet.name.strip().casefold() == join.tab.strip().casefold():
            found, missing = table_with(sheet, their, join.header_rows)
            if found is None:
                return f"needs {_headings(missing)} in the tab {join.tab!r}"
            return found
    return f"needs the tab {join.tab!r}"

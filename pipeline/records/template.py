"""The workbook that a new audit starts with: only the tabs asked for.

``write_template`` writes it; the loader asks ``is_skipped_tab`` which tabs are
talk and not records. The drawing modules need openpyxl and are imported late.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import FolderNotEmpty
from pipeline.records.template_plan import record_kinds, tabs

__all__ = ["SKIPPED_TABS", "is_skipped_tab", "record_kinds", "write_template"]

SKIPPED_TABS = ("read me", "example")


def is_skipped_tab(name: str) -> bool:
    """Return whether a workbook tab of this name is never loaded.

    Args:
        name: the tab's name as written; case and outer blanks do not matter.

    Returns:
        True for ``read me``, ``example`` and names that begin with ``_``.
    """
    folded = name.strip().casefold()
    return folded in SKIPPED_TABS or folded.startswith("_")


def write_template(path: Path, record_kinds: Sequence[str]) -> None:
    """Write the workbook to fill, with only the tabs these record kinds ask for.

    Args:
        path: the .xlsx file to write; it must not exist yet.
        record_kinds: kinds named in ``reference/record_kinds.csv``, such as
            ``("cast", "follow_up")``.

    Raises:
        UserError: no kind was named, or one that does not exist.
        FolderNotEmpty: something of that name is there, perhaps already filled.
    """
    plan = tabs(record_kinds)
    if path.exists():
        raise FolderNotEmpty(
            f"{path} is already there and is not overwritten",
            hint="it may hold records: move it away, or name another file",
        )
    from openpyxl import Workbook

    from pipeline.records import template_pages, template_tabs

    workbook = Workbook()
    workbook.properties.creator = "plumbpost"
    read_me = workbook.active
    read_me.title = SKIPPED_TABS[0]
    template_pages.draw_read_me(read_me, record_kinds, plan)
    template_pages.draw_example(workbook.create_sheet(SKIPPED_TABS[1]), plan)
    for tab in plan:
        template_tabs.draw_tab(workbook, tab)
    if template_tabs.LISTS_TAB in workbook.sheetnames:
        lists = workbook[template_tabs.LISTS_TAB]
        workbook.move_sheet(lists, offset=len(workbook.sheetnames))
    workbook.save(path)

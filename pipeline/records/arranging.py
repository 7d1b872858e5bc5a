"""Decide for every tab of a file what it is: ours, someone else's with a layout, neither."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.errors import LayoutNotConfirmed, UnreadableSheet, UserError
from pipeline.records.layout_fit import OTHER_NAME, Fit, NoFit, look
from pipeline.records.sheets import is_complete, sheet_meant
from pipeline.records.template import is_skipped_tab
from pipeline.reference import load as reference

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.records.file_read import FileRead, SheetRead
    from pipeline.records.layout_model import Layout

SHOWN_LAYOUTS = 3
SHOWN_HEADINGS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Tab:
    """A tab that can be loaded.

    Attributes:
        read: the tab as read.
        own: the record sheet it is; '' where a layout makes it into ours.
        fit: the layout, where there is one.
    """

    read: SheetRead
    own: str = ""
    fit: Fit | None = None

    @property
    def sheets(self) -> tuple[str, ...]:
        """The record sheets it gives rows of."""
        return self.fit.layout.sheets if self.fit else (self.own,)


@dataclass(frozen=True, slots=True, eq=False)
class Arranged:
    """A file, tab by tab.

    Attributes:
        tabs: those that can be loaded.
        problems: one for each that cannot, where the person should know.
        count_unread: tabs that are nothing we know.
    """

    tabs: tuple[Tab, ...]
    problems: tuple[UserError, ...]
    count_unread: int

    @property
    def can_change(self) -> bool:
        """Whether another set of layouts could change how the file is read."""
        return bool(self.count_unread) or any(tab.fit for tab in self.tabs)


def digest_of(layouts: Sequence[Layout]) -> str:
    """Return a text that changes when any layout does; '' for none."""
    if not layouts:
        return ""
    said = " ".join(f"{layout.name}:{layout.sha256}" for layout in layouts)
    return hashlib.sha256(said.encode()).hexdigest()


def arranged(file: FileRead, layouts: Sequence[Layout], *, source: str) -> Arranged:
    """Decide for every tab of a file what it is.

    A tab under our own headings is loaded as it is, unless a layout names its file.
    """
    tabs: list[Tab] = []
    problems: list[UserError] = []
    strangers: list[SheetRead] = []
    near: list[NoFit] = []
    all_tabs = [sheet for sheet in file.sheets if not is_skipped_tab(sheet.name)]
    for sheet in all_tabs:
        looked = [look(layout, file, sheet, source=source) for layout in layouts]
        fits = [one for one in looked if isinstance(one, Fit)]
        own = sheet_meant(sheet.name or PurePosixPath(source).stem, sheet.headings)
        if own and is_complete(own, sheet.headings):
            fits = [fit for fit in fits if fit.layout.files]
        if len(fits) == 1 and not fits[0].layout.open_points:
            tabs.append(Tab(sheet, fit=fits[0]))
        elif fits:
            problems.append(_refused(source, sheet, fits))
        elif own:
            tabs.append(Tab(sheet, own))
        else:
            strangers.append(sheet)
            near += [one for one in looked if isinstance(one, NoFit)]
    used = {name for tab in tabs if tab.fit for name in tab.fit.tabs_used}
    strangers = [sheet for sheet in strangers if sheet.name not in used]
    problems += _strange(
        source, strangers, all_tabs, near, is_any=bool(tabs or problems)
    )
    return Arranged(tuple(tabs), tuple(problems), len(strangers))  # fmt: skip


def _place(source: str, sheet: SheetRead) -> str:
    return f"{source}, tab {sheet.name!r}," if sheet.name else source


def _refused(source: str, sheet: SheetRead, fits: Sequence[Fit]) -> UserError:
    """Return why a sheet is not loaded though a layout fits."""
    if len(fits) > 1:
        names = " and ".join(fit.layout.file for fit in fits)
        return UnreadableSheet(
            f"{_place(source, sheet)} fits {len(fits)} layouts, {names}; it was not loaded.",
            hint="Let one of them need a heading that only its own sheets have, or name "
            "the files it is for: files = [..].",
        )
    layout = fits[0].layout
    count = len(layout.open_points)
    return LayoutNotConfirmed(
        f"{_place(source, sheet)} fits {layout.file}, but {count} "
        f"{'point' if count == 1 else 'points'} there must be confirmed first: "
        f"{'; '.join(layout.open_points[:3])}{'; ..' if count > 3 else ''}.",
        hint="Open the file, settle each point and take it out of confirm; or answer "
        "the questions of: plumbpost layout FILE --ask",
    )


def _strange(
    source: str,
    strangers: Sequence[SheetRead],
    tabs: Sequence[SheetRead],
    near: Sequence[NoFit],
    *,
    is_any: bool,
) -> Iterator[UserError]:
    """Yield what to say of tabs that are nothing we know."""
    if not strangers or (len(tabs) != 1 and is_any):
        # tabs beside those in use are the clinic's own business
        return
    nearest = "".join(f" {one.layout.file} {one.because}." for one in _nearest(near))
    if len(tabs) != 1:
        names = ", ".join(sheet.name for sheet in tabs)
        yield UnreadableSheet(
            f"{source} has no tab named after a record sheet; its tabs are: "
            f"{names or 'none with rows'}.{nearest}",
            hint=f"Name the tabs {', '.join(reference.sheets())}; only those in use need "
            f"exist. Or have a layout proposed: plumbpost layout records/{source}",
        )
        return
    headings = strangers[0].headings
    shown = ", ".join(h.strip() for h in headings[:SHOWN_HEADINGS] if h.strip())
    more = " .." if len(headings) > SHOWN_HEADINGS else ""
    missing = "" if "case_id" in headings else " It has no column case_id."
    yield UnreadableSheet(
        f"{source} is none of our record sheets.{missing} Its columns are: "
        f"{shown or 'none'}{more}.{nearest}",
        hint=f"Name the file after its sheet ({', '.join(reference.sheets()[:5])}, ..) and "
        "use the headings of the template workbook, or have a layout proposed for the "
        f"file as it is: plumbpost layout records/{source}",
    )


def _nearest(near: Sequence[NoFit]) -> list[NoFit]:
    """Return the layouts that lack the fewest headings, each once."""
    best: dict[str, NoFit] = {}
    for one in sorted(near, key=lambda one: one.count_missing):
        if one.count_missing < OTHER_NAME:
            best.setdefault(one.layout.name, one)
    return list(best.values())[:SHOWN_LAYOUTS]

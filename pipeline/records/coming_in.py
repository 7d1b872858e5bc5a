"""The rows of one file on their way into records.duckdb, whoever's headings they had."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import UnreadableSheet, UserError
from pipeline.records.comparing import Counts, put_rows
from pipeline.records.laid_out import LaidOut, field_cells_text, lay_out
from pipeline.records.phrases import counted
from pipeline.records.received import coded, keep_received
from pipeline.records.sheets import Incoming, incoming_of
from pipeline.records.taking_up import copy_taken_up
from pipeline.reference import load as reference
from pipeline.warehouse import named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.arranging import Tab
    from pipeline.records.codes import Codebook
    from pipeline.records.received import Received
    from pipeline.warehouse import Warehouse

FOLLOW_UP = frozenset({"visits", "events", "dentures"})
"""Sheets that come from a practice's whole appointment list."""

OTHER_LAYOUT = "read by another layout"

Codes = dict[tuple[str, str], str]


@dataclass(slots=True, eq=False)
class ComingIn:
    """Rows of one record sheet out of one tab.

    Attributes:
        incoming: the rows.
        details: columns of ``loads`` that belong to the tab.
        laid: how a layout made them; None for our own sheets.
        line: what to tell the person of the layout; '' for nothing.
        cells: the cells as received, identities replaced.
    """

    incoming: Incoming
    details: dict[str, Any]
    laid: LaidOut | None = None
    line: str = ""
    cells: NDArray[Any] | None = None


def coming_in(
    tabs: Sequence[Tab], file_notes: Sequence[str], *, source: str
) -> tuple[list[ComingIn], list[UserError]]:
    """Turn the tabs of a file into rows of record sheets.

    Args:
        tabs: those that can be loaded.
        file_notes: what the reader said of the file as a whole.
        source: the file as shown to people.

    Returns:
        What comes in, follow-up last, so that its cases are known by then; and one
        problem for each tab that could not be used after all.
    """
    found: list[ComingIn] = []
    problems: list[UserError] = []
    for tab in tabs:
        try:
            made = _laid(tab, source) if tab.fit else _own(tab, source)
            for one in made:
                one.details["notes"] = [*file_notes, *one.details["notes"]]
                found.append(one)
        except UnreadableSheet as problem:
            problems.append(problem)
    found.sort(key=lambda one: one.incoming.sheet in FOLLOW_UP)
    return found, problems


def _details(tab: Tab, notes: Sequence[str], decimal_sign: str) -> dict[str, Any]:
    return {
        "tab": tab.read.name,
        "encoding": tab.read.encoding,
        "delimiter": tab.read.delimiter,
        "decimal_sign": decimal_sign,
        "notes": [*tab.read.notes, *notes],
        "layout": "",
        "layout_sha256": "",
        "field_cells": "",
    }


def _at_the_door(incoming: Incoming) -> list[str]:
    return [f"left out at the door: {what}" for what in incoming.dropped]


def _own(tab: Tab, source: str) -> Iterator[ComingIn]:
    incoming = incoming_of(tab.own, tab.read, source=source)
    notes = _at_the_door(incoming)
    yield ComingIn(incoming, _details(tab, notes, tab.read.decimal_sign))


def _laid(tab: Tab, source: str) -> Iterator[ComingIn]:
    if tab.fit is None:
        return
    applied = lay_out(tab.fit, source=source)
    layout = tab.fit.layout
    for laid in applied.sheets:
        notes = [*applied.notes, *_at_the_door(laid.incoming)]
        details = _details(tab, notes, ".") | {
            "layout": layout.name,
            "layout_sha256": layout.sha256,
            "field_cells": field_cells_text(laid),
        }
        count = len(laid.incoming.rows)
        line = f"{layout.file}: {counted(count, 'row')} of {laid.incoming.sheet}"
        if applied.tally.skipped:
            line += f", {counted(applied.tally.skipped, 'row')} skipped"
        yield ComingIn(laid.incoming, details, laid, line)


def replace_identities(coming: Sequence[ComingIn], codebook: Codebook) -> Codes:
    """Put codes in the place of the clinic's own numbers and names.

    Returns:
        (kind, number) -> code of all of them, to be remembered beside the key.
    """
    codes: Codes = {}

    def codes_of(kind: str, numbers: Any) -> dict[str, str]:
        known = codebook.codes_of(kind, numbers)
        codes.update({(kind, number): code for number, code in known.items()})
        return known

    cells: dict[int, tuple[Received, NDArray[Any]]] = {}
    for one in coming:
        for item in reference.fields(one.incoming.sheet):
            if item.identity:
                column = one.incoming.rows[item.field]
                known = codes_of(item.identity, column.unique())
                one.incoming.rows[item.field] = column.map(known)
        if one.laid is not None:
            received = one.laid.received
            if id(received) not in cells:
                cells[id(received)] = (received, coded(received, codes_of))
            one.cells = cells[id(received)][1]
    return codes


def put_file(
    store: Warehouse,
    coming: Sequence[ComingIn],
    stamp: Mapping[str, Any],
    *,
    changed_by: str,
) -> tuple[Counts, int]:
    """Add what one file holds; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        coming: the rows, identities replaced.
        stamp: columns of ``loads`` that belong to the file.
        changed_by: written into amendments.

    Returns:
        Rows by what happened to them, and how many rows that another layout had made
        of the same file are no longer used.
    """
    total = Counts()
    left_out: dict[str, int] = {}
    first = _last_load(store) + 1
    count_tabs = Counter(one.incoming.sheet for one in coming)
    for one in coming:
        sheet = one.incoming.sheet
        counts = put_rows(
            store,
            one.incoming,
            {**stamp, "headings": list(one.incoming.headings), **one.details},
            changed_by=changed_by,
            is_known_cases_only=sheet in FOLLOW_UP,
            is_of_tab=count_tabs[sheet] > 1,
        )
        # one row of another patient may have been about to give several of ours
        tab = one.details["tab"]
        left_out[tab] = max(left_out.get(tab, 0), counts.left_out)
        total += counts
        if one.laid is not None and one.cells is not None:
            load_no = _last_load(store)
            received = one.laid.received
            keep_received(store, sheet, load_no, one.incoming.rows, received, one.cells)
    copy_taken_up(store)
    total.left_out = sum(left_out.values())
    count_retired = _retire(store, coming, stamp, first)
    total.gone = max(0, total.gone - count_retired)
    return total, count_retired


def _last_load(store: Warehouse) -> int:
    return int(store.value("select coalesce(max(load_no), 0) from loads"))


def _retire(
    store: Warehouse, coming: Sequence[ComingIn], stamp: Mapping[str, Any], first: int
) -> int:
    """Take out of use what another layout made of this file; return how many rows.

    Such rows can carry other keys, so that comparing would leave both in use.
    """
    now: dict[str, list[str]] = {}
    for one in coming:
        now.setdefault(one.incoming.sheet, []).append(one.details["layout_sha256"])
    before = store.run(
        "select load_no, sheet, coalesce(layout_sha256, '') from loads"
        " where source = $source and load_no < $first and status <> 'older'",
        {"source": stamp["source"], "first": first},
    )
    count = 0
    for load_no, sheet, sha256 in before:
        # a sheet that did not come now may be one that could not be read
        is_away = sheet not in now and sha256 and not stamp["count_problems"]
        if is_away or (sheet in now and sha256 not in now[sheet]):
            count += _retire_load(store, load_no, sheet, first)
    return count


def _retire_load(store: Warehouse, load_no: int, sheet: str, first: int) -> int:
    given = {"because": OTHER_LAYOUT, "first": first, "load_no": load_no}
    rows = store.run(
        f"""insert into rows_not_in_use
        select row_id, $because, $first from {named(sheet)}
        where load_no = $load_no
            and row_id not in (select u.row_id from rows_not_in_use as u)
        returning row_id""",
        given,
    )
    store.run(
        "update loads set status = 'replaced' where load_no = $load_no",
        {"load_no": load_no},
    )
    # comparing took them for rows that are gone
    store.run(
        "update loads set count_gone = greatest(count_gone - $count, 0) where sheet = $sheet"
        " and load_no = (select min(load_no) from loads"
        " where load_no >= $first and sheet = $sheet)",
        {"count": len(rows), "sheet": sheet, "first": first},
    )
    return len(rows)

"""Plant the faults a real month brings, and say where each one is.

Each fault is put into rows that were right before; the table of faults names them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from synthetic_data.demo import Row, Sheet

WORKBOOK = "overdentures.xlsx"
CASE_OF = {
    "sides_exchanged": "K117",
    "entry_apex_exchanged": "K147",
    "centimetres": "K107",
    "duplicate_row": "K108",
    "not_a_number": "K133",
    "visit_before_delivery": "K119",
}
"""Cases that carry no other incident, so that each fault stands alone."""

ACHIEVED = tuple(
    f"achieved_{point}_{axis}_mm" for point in ("entry", "apex") for axis in "xyz"
)
PLANNED = tuple(name.replace("achieved", "planned") for name in ACHIEVED)


@dataclass(frozen=True)
class Fault:
    """One faulty row.

    Attributes:
        sheet: record sheet.
        row: the faulty row itself.
        columns: the columns that are wrong; empty where the row as a whole is.
        kind: what is wrong, as the README lists them.
        meaning: what the clinic did, in words.
    """

    sheet: str
    row: Row
    columns: tuple[str, ...]
    kind: str
    meaning: str


def plant(sheets: dict[str, Sheet]) -> list[Fault]:
    """Change the sheets in place and return every fault planted.

    Args:
        sheets: record sheets by name, without faults.
    """
    return [
        *_exchange_sides(sheets["implants"]),
        *_exchange_ends(sheets["implants"]),
        *_write_in_centimetres(sheets["implants"]),
        *_enter_twice(sheets["implants"]),
        *_add_a_word(sheets["pair_readings"]),
        *_invent_a_code(sheets["events"]),
        *_come_too_early(sheets["visits"], sheets["dentures"]),
    ]


def _rows(sheet: Sheet, kind: str) -> Sheet:
    found = [row for row in sheet if row["case_id"] == CASE_OF[kind]]
    if not found:
        message = f"no row of case {CASE_OF[kind]} to plant {kind} in"
        raise LookupError(message)
    return found


def _exchange_sides(implants: Sheet) -> Iterator[Fault]:
    kind = "sides_exchanged"
    left, right = _rows(implants, kind)
    for name in ACHIEVED:
        left[name], right[name] = right[name], left[name]
    meaning = "the achieved position stands in the row of the other side"
    for row in (left, right):
        yield Fault("implants", row, ACHIEVED, kind, meaning)


def _exchange_ends(implants: Sheet) -> Iterator[Fault]:
    kind = "entry_apex_exchanged"
    row = _rows(implants, kind)[0]
    for axis in "xyz":
        entry, apex = f"achieved_entry_{axis}_mm", f"achieved_apex_{axis}_mm"
        row[entry], row[apex] = row[apex], row[entry]
    yield Fault("implants", row, ACHIEVED, kind, "achieved entry and apex exchanged")


def _write_in_centimetres(implants: Sheet) -> Iterator[Fault]:
    kind = "centimetres"
    row = _rows(implants, kind)[1]
    for name in (*PLANNED, *ACHIEVED):
        value = row[name]
        if isinstance(value, (int, float)):
            row[name] = round(value / 10, 3) + 0.0
    meaning = "all coordinates in centimetres: 1.2 from entry to apex, 12 on the label"
    yield Fault("implants", row, (*PLANNED, *ACHIEVED), kind, meaning)


def _enter_twice(implants: Sheet) -> Iterator[Fault]:
    kind = "duplicate_row"
    row = _rows(implants, kind)[0]
    copy = dict(row)
    implants.insert(_place(implants, row) + 1, copy)
    meaning = "the row above was entered twice, with the same reading number"
    yield Fault("implants", copy, (), kind, meaning)


def _add_a_word(pair_readings: Sheet) -> Iterator[Fault]:
    kind = "not_a_number"
    for row in _rows(pair_readings, kind):
        if row["source"] == "photo" and row["quantity"] == "frontal_angle":
            row["value"] = "3.2 approx"
            yield Fault(
                "pair_readings", row, ("value",), kind, "a word beside the figure"
            )


def _invent_a_code(events: Sheet) -> Iterator[Fault]:
    kind = "unknown_code"
    row = next(row for row in events if row["event"] == "insert_renewed")
    row["event"] = "ring changed"
    meaning = "the clinic's own words instead of insert_renewed"
    yield Fault("events", row, ("event",), kind, meaning)


def _come_too_early(visits: Sheet, dentures: Sheet) -> Iterator[Fault]:
    kind = "visit_before_delivery"
    row = _rows(visits, kind)[0]
    delivery = _rows(dentures, kind)[0]["delivery_date"]
    if isinstance(delivery, date):
        row["visit_date"] = delivery - timedelta(days=21)
    meaning = "the recall is dated three weeks before the denture was delivered"
    yield Fault("visits", row, ("visit_date",), kind, meaning)


def _place(sheet: Sheet, row: Row) -> int:
    return next(place for place, other in enumerate(sheet) if other is row)


def fault_rows(faults: list[Fault], sheets: dict[str, Sheet]) -> Iterator[Row]:
    """Yield the table of faults; rows are counted as a spreadsheet shows them."""
    for fault in faults:
        yield {
            "file": WORKBOOK,
            "sheet": fault.sheet,
            "row": _place(sheets[fault.sheet], fault.row) + 2,
            "column": "|".join(fault.columns),
            "kind": fault.kind,
            "case_id": fault.row["case_id"],
            "side": fault.row.get("side"),
            "meaning": fault.meaning,
        }

"""Clean records of the invented clinic in five shapes, and many of them checked at once.

Cells are text, as a clinic writes them; they go through the real staging, checks and
diagnosis in memory, all faults of all kinds in one run.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.warehouse import named
from synthetic_data import demo
from synthetic_data.case_sheets import case_rows, deviation_rows, implant_rows
from synthetic_data.chair_sheets import chair_sheets
from synthetic_data.demo import DemoCase, sheet_of
from synthetic_data.draw_clinic import make_clinic
from synthetic_data.hand_sheets import cast_rows, guide_rows, pair_rows
from synthetic_data.truths import DEFAULT
from tests.integration.staged_tables import GivenRecords

SHAPES = ("coordinates", "ready", "cast", "pair", "follow_up")

COARSE = {"coordinates_in_tenths": "coordinates", "ready_in_tenths": "ready"}
"""Clean records with fewer decimals: lengths in tenths, angles in whole degrees."""

PICKED = {"coordinates_picked": "coordinates"}
"""Clean records whose achieved points were picked by hand on a volume."""

PICKING_MM = 0.15
"""Error of a picked point along each axis; 0.24 mm in space on average. The head and the
tip of an implant on a volume lay 0.23 and 0.27 mm from a surface scan of the same model
(``method_surface_vs_cbct_*`` in published_accuracy.csv)."""

Cells = dict[str, str]
Records = dict[str, list[Cells]]
"""The rows of one case by sheet, cells as they are written."""


def clean_cases(count: int, seed: int) -> list[DemoCase]:
    """Draw operated cases without any incident, from all slots of the clinic."""
    tables = make_clinic(count, seed)
    drawn = demo._cases_of(tables, seed)
    return [replace(case, seed=seed + number) for number, case in enumerate(drawn)]


def records_of(case: DemoCase, shape: str) -> Records:
    """Write one case as a clinic with records of that shape would."""
    facts = case.facts | {
        "count_readings": 1,
        "has_pad_distances": "yes",
        "pair_record": "both",
        "record": {"pair": "cast", "follow_up": "cast"}.get(shape, shape),
    }
    own = replace(case, facts=facts)
    sheets: dict[str, Iterable[Any]] = {"cases": case_rows(own)}
    if shape == "coordinates":
        sheets["implants"] = implant_rows(own)
    elif shape == "ready":
        sheets["deviations"] = deviation_rows(own)
    elif shape == "cast":
        sheets["cast_readings"] = cast_rows(own, truths=DEFAULT)
        sheets["guides"] = sheet_of([own], partial(guide_rows, truths=DEFAULT))
    elif shape == "pair":
        sheets["pair_readings"] = pair_rows(own, truths=DEFAULT)
    else:
        sheets |= chair_sheets([own])
    return {name: [_written(row) for row in rows] for name, rows in sheets.items()}


def _written(row: Any) -> Cells:
    return {name: _text(value) for name, value in row.items() if value is not None}


def _text(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    return repr(value) if isinstance(value, float) else str(value)


def with_number(records: Records, number: str) -> Records:
    """Return a copy of a case's rows under another case number."""
    found = copy.deepcopy(records)
    for rows in found.values():
        for cells in rows:
            for name in ("guide_id", "job_no", "cast_id"):
                if name in cells:
                    cells[name] = f"{number} {cells[name]}"
            cells["case_id"] = number
    return found


def round_figures(records: Records) -> None:
    """Write measured figures with fewer decimals."""
    for cells in (*records.get("implants", ()), *records.get("deviations", ())):
        for name, text in cells.items():
            if name.endswith("_deg"):
                cells[name] = str(round(float(text)))
            elif name.endswith("_mm") and not name.endswith(
                ("length_mm", "diameter_mm")
            ):
                cells[name] = repr(round(float(text), 1) + 0.0)


def pick_points(records: Records, draws: np.random.Generator) -> None:
    """Move every achieved point by an error of picking."""
    for cells in records["implants"]:
        for name, text in cells.items():
            if name.startswith(("achieved_entry_", "achieved_apex_")):
                moved = float(text) + draws.normal(0, PICKING_MM)
                cells[name] = repr(round(moved, 2) + 0.0)


@dataclass
class Placed:
    """Where records went.

    Attributes:
        source: the file.
        case_keys: their case numbers.
        row_ids: their rows.
    """

    source: str
    case_keys: set[str] = field(default_factory=set)
    row_ids: set[int] = field(default_factory=set)


class ManyRecords(GivenRecords):
    """An audit in memory that takes many rows at once."""

    def __init__(self) -> None:
        super().__init__()
        self._waiting: dict[str, list[tuple[Any, ...]]] = {}

    def put(self, source: str, records: Records) -> Placed:
        """Add the rows of one case to the sheets of a file."""
        placed = Placed(source)
        for sheet, rows in records.items():
            load_no = self._load_of(source, sheet)
            for cells in rows:
                number = self._rows.get(load_no, 1) + 1
                self._rows[load_no] = number
                row_id = load_no * ROWS_PER_LOAD + number
                placed.row_ids.add(row_id)
                if cells.get("case_id"):
                    placed.case_keys.add(cells["case_id"])
                values = (cells.get(name, "") for name in fields_of(sheet))
                self._waiting.setdefault(sheet, []).append(
                    (row_id, load_no, number, "", "{}", *values)
                )
        return placed

    def _write_down(self) -> None:
        for sheet, rows in self._waiting.items():
            names = ["row_id", "load_no", "row_number", "row_key", "other_cells"]
            frame = pd.DataFrame(rows, columns=[*names, *fields_of(sheet)])
            with self.warehouse.registered("rows_waiting", frame):
                self.warehouse.run(
                    f"insert into records.{named(sheet)} select * from rows_waiting"
                )
        self._waiting = {}

    def checked(self) -> Any:
        """Write the waiting rows down, stage and check them."""
        self._write_down()
        return super().checked()


def in_files(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    """Yield the items in lots of a size; the last may be smaller."""
    lot: list[Any] = []
    for item in items:
        lot.append(item)
        if len(lot) == size:
            yield lot
            lot = []
    if lot:
        yield lot

"""The few words the check tables are written in."""

from __future__ import annotations

from typing import Literal

Level = Literal["row", "pair", "case", "set"]
Reach = Literal["cell", "row", "case", "set"]
Severity = Literal["stop", "hold", "warn"]
Outcome = Literal["error", "not applicable", "failed", "passed"]

RUN_DATE = "$run_date"
"""A limit that is the day of the run."""

ROW_TABLE = "checked.row_evidence"
"""The one evidence table with a row for each row of every sheet."""

LOAD_TABLE = "checked.load_evidence"
"""The evidence table with a row for each file and sheet that was loaded."""

CELL_TABLE = "checked.cell_evidence"
"""As ROW_TABLE: how many cells of a row were written in a way that has its own mend."""

SLOTS = frozenset(
    {"row_number", "field", "value", "size", "low", "high", "sheet", "allowed", "meant"}
)
"""What a sentence may hold: ``size`` is the value without its sign, ``meant`` what a
cell may have meant that a spreadsheet turned into a day or that has the other sign."""

PROBLEMS = frozenset(
    {
        "empty",
        "not_a_number",
        "became_day",
        "other_decimal_sign",
        "unit_written",
        "other_unit",
        "not_whole",
        "qualified",
        "not_a_day",
        "serial_day",
        "not_a_code",
    }
)
"""Kinds of ``staged.problems``; ``empty`` also means a required cell said missing."""

SIGNS = frozenset({"day_number", "stray_characters", "identifier_in_text"})
"""Kinds of ``checked.cell_signs``: cells that can be read, and should be looked at."""

CELLS_OF_ROW = frozenset({"row_number", "allowed", "meant"})
"""Slots that only a check of rows can fill."""

LEVELS_OF_REACH: dict[str, frozenset[str]] = {
    "cell": frozenset({"row"}),
    "row": frozenset({"row"}),
    "case": frozenset({"row", "pair", "case"}),
    "set": frozenset({"set"}),
}
"""What a check of a level can set aside."""

GEOMETRY_SHEETS = (
    "implants",
    "deviations",
    "cast_readings",
    "pair_readings",
    "films",
    "landmarks",
)
"""Sheets whose rows are set aside when a whole case is in doubt."""

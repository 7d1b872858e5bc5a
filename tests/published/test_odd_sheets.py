"""Sheets as papers printed them, odd as they are, read by a layout, against the long tables.

Two published tables are not kept here. Name the folder that holds both, as printed and
as taken apart by hand, in the environment variable PLUMBPOST_ODD_SHEETS; without it these
tests are skipped. Lopes et al. 2021, doi 10.3390/jcm10163600, table 1 (CC BY 4.0): several
facts in one cell. Agliardi et al. 2021, doi 10.1111/cid.13017, table 1: three readings
and their mean in one cell.
"""

import csv
import os
from pathlib import Path

import pytest

from pipeline.records.laid_out import lay_out
from pipeline.records.layout_fit import look
from pipeline.records.layouts import layout_of
from pipeline.records.read import read_file

PLACE = os.environ.get("PLUMBPOST_ODD_SHEETS", "")
SEVERAL_FACTS = Path(PLACE) / "lopes2021_implants_wide_as_printed.csv"
THREE_READINGS = Path(PLACE) / "agliardi2021_ridge_height_wide_as_printed.csv"

pytestmark = pytest.mark.skipif(
    not (PLACE and SEVERAL_FACTS.exists() and THREE_READINGS.exists()),
    reason="PLUMBPOST_ODD_SHEETS names no folder with the printed tables",
)

TEETH = [16, 15, 14, 13, 12, 22, 23, 24, 25, 26]
FACTS_LAYOUT = (
    """
needs = ["patient", "FDI16", "FDI26"]
[[rows]]
sheet = "implants"
each = [
"""
    + "".join(f'{{ "<tooth>" = "{tooth}", tooth = "{tooth}" }},\n' for tooth in TEETH)
    + """]
[rows.fields]
case_id = "patient"
diameter_mm = { heading = "FDI<tooth>", pattern = '[SZ] ?([\\d.]*) ?×.*' }
placed_length_mm = { heading = "FDI<tooth>", pattern = '[SZ] ?[\\d.]* ?× ?([\\d.]+)\\D*' }
"""
)

PARTS = [
    (side, site, number)
    for side in ("left", "right")
    for site in ("premolar", "molar")
    for number in (1, 2, 3)
]
READINGS_LAYOUT = (
    """
needs = ["subject", "premolar_left"]
[[rows]]
sheet = "cast_readings"
each = [
"""
    + "".join(
        f'{{ "<place>" = "{site}_{side}", "<before>" = \'{before}\', side = "{side}",'
        f' reading = "{number}", cast_id = "{site}" }},\n'
        for side, site, number in PARTS
        for before in [r"(?:[\d.]+/){" + str(number - 1) + "}"]
    )
    + """]
[rows.fields]
case_id = "subject"
state = { always = "planned" }
midline_mm = { heading = "<place>", pattern = '<before>([\\d.]+)[/ ].*' }
"""
)


def laid_out(path: Path, layout: str):
    file = read_file(path, name=path.name)
    made = layout_of(layout.encode(), name="printed")
    done = lay_out(look(made, file, file.sheets[0], source=path.name), source=path.name)
    assert done.tally.is_whole
    return done.sheets[0].incoming.rows, done


def long_rows(name: str) -> list[dict[str, str]]:
    with (Path(PLACE) / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def number(text: str) -> float | None:
    return float(text) if text else None


def test_several_facts_in_one_cell_are_taken_apart_as_by_hand():
    rows, done = laid_out(SEVERAL_FACTS, FACTS_LAYOUT)
    found = {
        (row.case_id, row.tooth): (
            number(row.diameter_mm),
            number(row.placed_length_mm),
        )
        for row in rows.itertuples()
    }
    expected = {
        (row["patient"], row["implant_fdi"]): (
            number(row["diameter_mm"]),
            number(row["length_mm"]),
        )
        for row in long_rows("lopes2021_implants_long.csv")
    }
    assert len(found) == 192, "implants in the paper"
    assert found == expected
    assert done.tally.mapped == 44, "patients in the paper"


def test_three_readings_in_one_cell_are_taken_apart_as_by_hand():
    rows, _ = laid_out(THREE_READINGS, READINGS_LAYOUT)
    found = {
        (row.case_id, row.cast_id, row.side, row.reading): number(row.midline_mm)
        for row in rows.itertuples()
    }
    expected = {
        (row["subject"], row["site"], row["side"], str(n)): number(
            row[f"section{n}_mm"]
        )
        for row in long_rows("agliardi2021_ridge_height_long.csv")
        for n in (1, 2, 3)
    }
    assert len(found) == 34 * 4 * 3
    assert found == expected

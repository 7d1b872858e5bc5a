"""Make the invented clinic: record sheets as a clinic keeps them, and known answers.

Run ``python synthetic_data/generate.py OUT`` to write ``OUT/clinic`` and
``OUT/expected``. Nothing in them is about a real person or place.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

# The folder is found the same way in a checkout, in a wheel and run by its path.
sys.path.append(str(Path(__file__).resolve().parent.parent))

from synthetic_data.answers import implant_answers, reading_answers
from synthetic_data.case_sheets import case_rows, deviation_rows, implant_rows
from synthetic_data.chair_sheets import chair_sheets
from synthetic_data.demo import Row, Sheet, demo_cases, sheet_of
from synthetic_data.draw_clinic import SEED, make_clinic
from synthetic_data.faults import WORKBOOK, Fault, fault_rows, plant
from synthetic_data.files import columns_of, write_answers, write_csv, write_workbook
from synthetic_data.hand_sheets import cast_rows, guide_rows, pair_rows
from synthetic_data.many import write_cases_csv, write_coordinates_csv
from synthetic_data.pair_answers import pair_answers
from synthetic_data.readme import refresh
from synthetic_data.truths import DEFAULT, Truths

__all__ = [
    "SEED",
    "Truths",
    "demo_sheets",
    "generate",
    "make_clinic",
    "write_cases_csv",
    "write_coordinates_csv",
]

WORKBOOK_TABS = (
    "cases",
    "implants",
    "pair_readings",
    "cast_readings",
    "visits",
    "events",
    "dentures",
)
READY_FILE, GUIDES_FILE = "ready_figures.csv", "guides.csv"


def demo_sheets(
    seed: int = SEED, truths: Truths = DEFAULT
) -> tuple[dict[str, Sheet], list[Fault], dict[str, list[Row]]]:
    """Return the demo clinic's record sheets, its faults and its known answers.

    Args:
        seed: the same seed gives the same clinic.
        truths: what is planted.
    """
    cases = demo_cases(seed, truths)
    sheets = {
        "cases": sheet_of(cases, case_rows),
        "implants": sheet_of(cases, implant_rows),
        "pair_readings": sheet_of(cases, partial(pair_rows, truths=truths)),
        "cast_readings": sheet_of(cases, partial(cast_rows, truths=truths)),
        **chair_sheets(cases),
        "deviations": sheet_of(cases, deviation_rows),
        "guides": sheet_of(cases, partial(guide_rows, truths=truths)),
    }
    faults = plant(sheets)
    answers = {
        "implants": list(implant_answers(sheets, cases, faults)),
        "readings": list(reading_answers(sheets["implants"], faults)),
        "pairs": list(pair_answers(sheets, faults)),
        "faults": list(fault_rows(faults, sheets)),
        "truths": list(truth_rows(truths)),
    }
    return sheets, faults, answers


def truth_rows(truths: Truths) -> Iterator[Row]:
    """Yield the planted truths as rows."""
    names = ("truth", "group", "value", "unit", "meaning")
    for row in truths.rows():
        yield dict(zip(names, (*row[:2], repr(float(row[2])), *row[3:]), strict=True))


def generate(out: Path, seed: int = SEED, truths: Truths = DEFAULT) -> list[Path]:
    """Write the demo clinic and its known answers.

    Args:
        out: folder to write ``clinic/`` and ``expected/`` into.
        seed: the same seed gives the same files.
        truths: what is planted.

    Returns:
        The files written.
    """
    sheets, _, answers = demo_sheets(seed, truths)
    clinic, expected = out / "clinic", out / "expected"
    workbook, ready, guides = (
        clinic / name for name in (WORKBOOK, READY_FILE, GUIDES_FILE)
    )
    write_workbook(workbook, {name: sheets[name] for name in WORKBOOK_TABS})
    write_csv(
        ready,
        columns_of("deviations", sheets["deviations"]),
        sheets["deviations"],
        delimiter=";",
        decimal=",",
        encoding="cp1252",
        line_end="\r\n",
    )
    write_csv(guides, columns_of("guides", sheets["guides"]), sheets["guides"])
    written = [expected / f"{name}.csv" for name in answers]
    for path, rows in zip(written, answers.values(), strict=True):
        write_answers(path, rows)
    return [workbook, ready, guides, *written]


def main(arguments: Sequence[str] | None = None) -> int:
    """Parse the command line, write the clinic and say what was written."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("out", type=Path, metavar="OUT", help="folder to write into")
    parser.add_argument("--seed", type=int, default=SEED, help="default: %(default)s")
    parser.add_argument(
        "--readme", type=Path, metavar="FILE", help="also refresh the tables in it"
    )
    given = parser.parse_args(arguments)
    for path in generate(given.out, given.seed):
        sys.stdout.write(f"{path}\n")
    if given.readme is not None:
        faults = demo_sheets(given.seed)[2]["faults"]
        refresh(given.readme, DEFAULT, faults)
    return 0


if __name__ == "__main__":
    sys.exit(main())

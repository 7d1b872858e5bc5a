"""Turn published per-implant tables into the record sheets a clinic would load.

Each function returns the text of a CSV file: comma, line feed, headings of fields.csv.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
AXES_PLACE = "PLUMBPOST_PAIRED_AXES"
LEFT_OUT_AS_PRINTED = "sub-146"
RATERS = ("R1", "R2", "R3", "R4", "R5")
POINTS = ("planned_entry", "planned_apex", "placed_entry", "placed_apex")

Row = Mapping[str, str]


def rows_of(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file as dictionaries of text."""
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return rows under their headings as the text of a CSV file."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return out.getvalue()


def upper_jaw_rows(*, is_placed_only: bool = True) -> list[dict[str, str]]:
    """Return the rows of the upper-jaw template table, 23 placed or all 24."""
    rows = rows_of(HERE / "upper_jaw_overdenture_template.csv")
    if not is_placed_only:
        return rows
    return [row for row in rows if row["angular_deviation_deg"] != "NA"]


def _case(patient_no: str) -> str:
    return f"upper-{int(patient_no):02d}"


def upper_jaw_deviations() -> str:
    """Return the upper-jaw table as a ``deviations`` sheet, 23 implants.

    Figures keep the digits they were printed with; they carry no sign.
    """
    headings = (
        "case_id",
        "tooth",
        "entry_3d_mm",
        "entry_lateral_mm",
        "depth_mm",
        "angle_deg",
        "is_signed",
        "planned_length_mm",
        "achieved_source",
    )
    return csv_text(
        headings,
        (
            (
                _case(row["patient_no"]),
                row["implant_fdi"],
                row["global_deviation_mm"],
                row["lateral_deviation_mm"],
                row["depth_deviation_mm"],
                row["angular_deviation_deg"],
                "no",
                row["implant_length_mm"],
                "cbct",
            )
            for row in upper_jaw_rows()
        ),
    )


def upper_jaw_cases() -> str:
    """Return the ``cases`` sheet that goes with it: 11 upper jaws."""
    patients = dict.fromkeys(
        row["patient_no"] for row in upper_jaw_rows(is_placed_only=False)
    )
    return csv_text(
        ("case_id", "jaw", "setting", "guide_method", "guide_support", "guidance"),
        (
            (_case(patient), "upper", "patient", "printed", "bone", "half")
            for patient in patients
        ),
    )


def landmark_errors() -> list[dict[str, str]]:
    """Return the printed mean distances of the four landmarks that are axis ends."""
    return rows_of(HERE / "landmark_error_printed.csv")


def paired_axes_path() -> Path | None:
    """Return where the table of paired axes is, None when it is not to be had here."""
    named = os.environ.get(AXES_PLACE, "")
    path = Path(named)
    return path if named and path.is_file() else None


def paired_axes_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of the paired axes, without the scan the source left out."""
    return [row for row in rows_of(path) if row["subject"] != LEFT_OUT_AS_PRINTED]


def in_our_frame(x_right: str, y_forward: str, z_up: str) -> tuple[str, str, str]:
    """Turn a point with axes right, forward, up into left, backward, up, in mm."""
    return repr(-float(x_right)), repr(-float(y_forward)), z_up


def paired_axes_implants(rows: Iterable[Row], rater: str | None = None) -> str:
    """Return paired axes as an ``implants`` sheet in our frame.

    Args:
        rows: rows of the table of paired axes.
        rater: only this rater's rows, as reading 1; None for all five, each as the
            reading with its own number, so that readings stay apart.
    """
    points = [point.replace("placed", "achieved") for point in POINTS]
    headings = (
        "case_id",
        "side",
        *(f"{point}_{axis}_mm" for point in points for axis in "xyz"),
        "achieved_frame",
        "examiner",
        "reading",
    )
    return csv_text(
        headings,
        (
            (
                row["subject"],
                row["side"],
                *(
                    number
                    for point in POINTS
                    for number in in_our_frame(
                        *(row[f"{point}_{axis}"] for axis in "xyz")
                    )
                ),
                "plan",
                row["rater"],
                "1" if rater else row["rater"].removeprefix("R"),
            )
            for row in rows
            if rater in (None, row["rater"])
        ),
    )

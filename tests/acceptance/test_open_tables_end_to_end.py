"""Published per-implant tables go through the commands and come out as printed.

Somebody with the table of a paper puts it into records/ and runs three commands; the
summary is the paper's own, except where the paper's sd was made with another divisor.
"""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.published import open_tables

ROOT = Path(__file__).resolve().parents[2]

# Onclin et al. 2020, doi 10.1186/s40729-020-00221-x: printed mean and its decimals,
# and the column of the table that becomes the measure.
PRINTED_MEANS = {
    "angle_deg": (7.24, 2, "angular_deviation_deg"),
    "entry_3d_mm": (1.1, 1, "global_deviation_mm"),
    "entry_lateral_mm": (0.8, 1, "lateral_deviation_mm"),
    "depth_size_mm": (0.6, 1, "depth_deviation_mm"),
}


def plumbpost(home: Path, *words: str) -> str:
    """Run one command as a user does, with a profile of its own; return stdout."""
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        env=_environment(home),
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _environment(home: Path) -> dict[str, str]:
    return {
        **os.environ,
        "HOME": str(home),
        "USERPROFILE": str(home),
        "PLUMBPOST_HOME": str(home / "profile"),
        "PYTHONUTF8": "1",
    }


def audit(place: Path, records: str, sheets: dict[str, str]) -> Path:
    """Start an audit, put sheets into records/ and run it."""
    folder = place / "audit"
    plumbpost(place, "start", str(folder), "--records", records)
    for name, text in sheets.items():
        target = folder / "records" / f"{name}.csv"
        target.write_text(text, encoding="utf-8", newline="")
    plumbpost(place, "run", str(folder))
    return folder


def table(place: Path, folder: Path, name: str) -> list[dict[str, str]]:
    text = plumbpost(place, "show", str(folder), name, "--format", "csv")
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def upper_jaw(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    place = tmp_path_factory.mktemp("upper_jaw")
    sheets = {
        "deviations": open_tables.upper_jaw_deviations(),
        "cases": open_tables.upper_jaw_cases(),
    }
    return place, audit(place, "ready", sheets)


@pytest.mark.parametrize("measure", PRINTED_MEANS)
def test_the_summary_of_the_upper_jaws_is_the_paper_s_own(
    upper_jaw: tuple[Path, Path], measure: str
) -> None:
    """Mean as printed; sd with n-1, where the paper's angle has 3.39 made with n."""
    mean, digits, column = PRINTED_MEANS[measure]
    rows = [
        row
        for row in table(*upper_jaw, "summarised.accuracy")
        if row["measure"] == measure and row["group_by"] == "overall"
    ]
    assert len(rows) == 1
    (row,) = rows
    assert (int(row["n_cases"]), int(row["n_implants"])) == (11, 23)
    assert round(float(row["mean"]), digits) == mean
    values = [float(row[column]) for row in open_tables.upper_jaw_rows()]
    assert float(row["sd"]) == pytest.approx(np.std(values, ddof=1), abs=1e-6)
    assert float(row["max"]) == pytest.approx(max(values), abs=1e-9)


def test_every_placed_implant_of_the_upper_jaws_is_measured_once(
    upper_jaw: tuple[Path, Path],
) -> None:
    rows = table(*upper_jaw, "measured.implants")
    assert len(rows) == 23
    assert {row["basis"] for row in rows} == {"ready"}
    found = sorted(float(row["angle_deg"]) for row in rows)
    printed = [
        float(row["angular_deviation_deg"]) for row in open_tables.upper_jaw_rows()
    ]
    assert found == pytest.approx(sorted(printed))


def test_the_results_table_for_a_paper_prints_the_paper_s_own_means(
    upper_jaw: tuple[Path, Path],
) -> None:
    """The table beside the research summary: mean as printed, patients beside implants."""
    _, folder = upper_jaw
    file = folder / "reports" / "research" / "tables" / "deviations.csv"
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8-sig"))))
    labels = {
        "Angle to plan": "angle_deg",
        "Entry deviation": "entry_3d_mm",
        "Entry deviation sideways": "entry_lateral_mm",
        "Depth difference (size)": "depth_size_mm",
    }
    found = {labels[r["Measure"]]: r for r in rows if r["Measure"] in labels}
    assert set(found) == set(PRINTED_MEANS)
    for measure, (mean, digits, _column) in PRINTED_MEANS.items():
        row = found[measure]
        assert round(float(row["Mean"]), digits) == pytest.approx(mean)
        assert (row["Patients"], row["Implants"]) == ("11", "23")
    # the printed sd of the angle, 3.39, has divisor n; ours has n - 1 and says so
    assert float(found["angle_deg"]["SD"]) == pytest.approx(3.460, abs=0.005)


@pytest.mark.parametrize("rater", ["R1", "R4"])
def test_axes_in_space_give_the_distances_printed_for_a_rater(
    tmp_path: Path, rater: str
) -> None:
    """Source: greydongilmore/afids-clinical, workbook "Error calc.xlsx", sheet AFLE."""
    path = open_tables.paired_axes_path()
    if path is None:
        pytest.skip(f"{open_tables.AXES_PLACE} names no table of paired axes")
    rows = open_tables.paired_axes_rows(path)
    sheets = {"implants": open_tables.paired_axes_implants(rows, rater)}
    folder = audit(tmp_path, "coordinates", sheets)
    measured = table(tmp_path, folder, "measured.implants")
    for printed in open_tables.landmark_errors():
        found = [
            float(row[f"{printed['end']}_3d_mm"])
            for row in measured
            if row["side"] == printed["side"]
        ]
        assert len(found) == 39
        assert np.mean(found) == pytest.approx(float(printed[f"{rater}_mm"]), abs=1e-5)

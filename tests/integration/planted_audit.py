"""An audit folder out of planted pairs, written as coordinates in a csv file."""

from pathlib import Path

import numpy as np

from pipeline.statistics.pair_errors import Pairs
from synthetic_data import modes
from tests.audits import COORDINATES, audit_of

HEAD = "case_id,side,achieved_source,deliberate_change," + ",".join(COORDINATES)


def coordinate_rows(pairs: Pairs, *, on_purpose: frozenset[int] = frozenset()):
    """Yield csv lines of an implants sheet: upright plans, achieved as planted."""
    n = pairs.n
    middle = np.zeros((n, 2, 3))
    middle[:, 0, 0], middle[:, 1, 0] = pairs.spacing_mm / 2, -pairs.spacing_mm / 2
    upright, length = np.zeros((n, 2, 2)), np.full((n, 2), pairs.length_mm)
    left, back, up, lean_left, lean_back = pairs.implants()
    planned = modes.points(middle, upright, length)
    achieved = modes.points(
        middle + np.stack([left, back, up], axis=-1),
        np.stack([lean_left, lean_back], axis=-1),
        length,
    )
    for case in range(n):
        reason = "bone thinner than planned" if case in on_purpose else ""
        for i, side in enumerate(("left", "right")):
            points = (*planned, *achieved)
            numbers = (repr(float(v)) for p in points for v in p[case, i])
            yield f"C{case:03d},{side},cbct,{reason}," + ",".join(numbers)


def planted_audit(
    folder: Path,
    pairs: Pairs,
    *,
    cases: str = "",
    on_purpose: frozenset[int] = frozenset(),
    up_to: str = "summarised",
) -> Path:
    """Make the audit folder and run it."""
    lines = [HEAD, *coordinate_rows(pairs, on_purpose=on_purpose)]
    files: dict[str, str | bytes] = {"implants.csv": "\n".join(lines) + "\n"}
    if cases:
        files["cases.csv"] = cases
    return audit_of(folder, files, up_to=up_to)

"""Carry out a mend that the last check proposed: which cells of which rows it changes.

Points stand in the records in the coordinates of their file; a mend is tried in those of
the plan. Where a scan was superimposed, its points are led back by the same motion. A
superimposition the wrong way round is mended where the fault lies, in the frames that
its matching points are said to be of.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pipeline.checked.diagnoses import MOST_CASES, geometric_ids
from pipeline.checked.mending_words import clause, mend_named
from pipeline.checked.points_of_cases import (
    SIDES,
    names_of_points,
    pairs_of,
    select_cases,
)
from pipeline.errors import NotAnswerable
from pipeline.geometry.mends import Mend, applied, led_back

if TYPE_CHECKING:
    from pipeline.geometry.plausible import Pairs
    from pipeline.geometry.registration import Floats
    from pipeline.warehouse import Warehouse

DECIMALS = 6
"""A nanometre: what leading a point back and forth may lose stays below it."""

STATES = ("planned", "achieved")


@dataclass(frozen=True, slots=True)
class Mending:
    """What accepting a finding changes.

    Attributes:
        mend: the mend.
        case_key: code of the case.
        sheet: the record sheet that it changes.
        changes: row_id -> field -> new cell, with a decimal point.
    """

    mend: Mend
    case_key: str
    sheet: str
    changes: dict[int, dict[str, str]] = field(default_factory=dict)

    @property
    def in_words(self) -> str:
        """What it does, to follow a colon."""
        return clause(self.mend)


def mending_of(warehouse: Warehouse, finding_id: str, wanted: str) -> Mending:
    """Return what accepting a finding changes.

    Args:
        warehouse: audit.duckdb of the last check.
        finding_id: one of its findings.
        wanted: name of the mend to apply; '' for the only one proposed.

    Raises:
        NotAnswerable: no mend is proposed, or several and none was chosen, or the one
            chosen is not among them or cannot be applied to cells.
    """
    found = warehouse.run(
        """select case_key, concat_ws('|', mend, other_mends) from checked.diagnoses
        where list_contains(finding_ids, $finding_id) and mend <> 'none'""",
        {"finding_id": finding_id},
    )
    if not found:
        raise NotAnswerable(
            f"No mend is proposed for {finding_id}.",
            hint="Correct the row in its file, or in the workbook of plumbpost held, and "
            "run again.",
        )
    case_key, proposed = found[0]
    mend = _chosen(finding_id, proposed.split("|"), wanted)
    if mend.is_fitted:
        raise NotAnswerable(
            f"{finding_id} cannot be mended so: a shift taken from the case itself would "
            "make its result look better than anybody knows.",
            hint="Superimpose the scan on the plan, correct the file and run again.",
        )
    if mend.action == "inverse":
        return Mending(
            mend, case_key, "landmarks", _frames_exchanged(warehouse, case_key)
        )
    return Mending(
        mend, case_key, "implants", _points_changed(warehouse, case_key, mend)
    )


def _chosen(finding_id: str, proposed: list[str], wanted: str) -> Mend:
    if not wanted and len(proposed) == 1:
        return mend_named(proposed[0])
    if wanted in proposed:
        return mend_named(wanted)
    listed = "; ".join(f"{name}: {clause(mend_named(name))}" for name in proposed)
    if wanted:
        raise NotAnswerable(
            f"{wanted} is not proposed for {finding_id}.", hint=f"Proposed is {listed}."
        )
    raise NotAnswerable(
        f"{len(proposed)} mends bring the case of {finding_id} back alike; which one is "
        "right only you can say.",
        hint=f"Choose with --mend NAME. {listed}.",
    )


def _points_changed(
    warehouse: Warehouse, case_key: str, mend: Mend
) -> dict[int, dict[str, str]]:
    """Return the coordinates that a mend changes, by row."""
    cases = warehouse.frame(
        f"select * from ({select_cases(geometric_ids())}) where case_key = $case_key",
        {"most": MOST_CASES, "case_key": case_key},
    )
    pairs = pairs_of(cases)
    before, after = _as_in_file(pairs), _as_in_file(applied(mend, pairs))
    changes: dict[int, dict[str, str]] = {}
    for place, side in enumerate(SIDES):
        names = names_of_points(*STATES)
        old, new = before[:, place].ravel(), after[:, place].ravel()
        differs = np.abs(new - old) > 0.5 * 10**-DECIMALS
        cells = {names[i]: _figure(new[i]) for i in np.flatnonzero(differs)}
        if cells:
            changes[int(cases[f"{side}_row_id"].iloc[0])] = cells
    return changes


def _as_in_file(pairs: Pairs) -> Floats:
    """Return (2 states, 2 sides, 2 ends, 3) mm of one case, as its file has them."""
    achieved = pairs.achieved
    if pairs.rotation is not None and not np.isnan(pairs.rotation).any():
        achieved = led_back(achieved, pairs)
    found: Floats = np.concatenate([pairs.planned, achieved])
    return found


def _figure(value: float) -> str:
    """Return a coordinate as a cell.

    >>> _figure(-12.3000000004), _figure(-1e-9), _figure(40.0)
    ('-12.3', '0', '40')
    """
    return f"{round(value, DECIMALS) + 0.0:.{DECIMALS}f}".rstrip("0").rstrip(".")


def _frames_exchanged(warehouse: Warehouse, case_key: str) -> dict[int, dict[str, str]]:
    """Return the matching points of a case, those of the scan as of the plan and back."""
    rows = warehouse.run(
        "select row_id, frame, coalesce(scan, '') from staged.landmarks"
        " where case_key = $case_key and frame in ('plan', 'scan') order by row_id",
        {"case_key": case_key},
    )
    scans = {scan for _, frame, scan in rows if frame == "scan"}
    if len(scans) != 1:
        raise NotAnswerable(
            "The matching points of this case belong to several scans, so that they "
            "cannot be exchanged at once.",
            hint="Correct the column frame in their file and run again.",
        )
    (scan,) = scans
    of_scan, of_plan = {"frame": "scan", "scan": scan}, {"frame": "plan"}
    return {
        row_id: dict(of_scan if frame == "plan" else of_plan)
        for row_id, frame, _ in rows
    }

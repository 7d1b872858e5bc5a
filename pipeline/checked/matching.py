"""Matching points and implants of scans, as arrays padded to the longest scan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.geometry.registration import Flags, Floats
from pipeline.records.registration_files import MOTION
from pipeline.warehouse import Warehouse

XYZ: Final = ("x", "y", "z")
STATES: Final = ("planned", "achieved")
ENDS: Final = ("entry", "apex")

Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Points:
    """Matching points of n scans.

    Attributes:
        plan: (n, m, 3) mm in the plan's coordinates.
        scan: (n, m, 3) mm in the scan's own.
        weights: (n, m); 1 for a point read once in each.
        mask: (n, m) where a point is there.
        labels: (n, m) their names.
    """

    plan: Floats
    scan: Floats
    weights: Floats
    mask: Flags
    labels: NDArray[np.str_]


def read_points(warehouse: Warehouse, count_scans: int) -> Points:
    """Read the matching points that are used, scans in the order of scan_no."""
    found = warehouse.frame(
        """select s.scan_no, p.*,
            row_number() over (partition by s.scan_no order by p.label) - 1 as place
        from checked.matching_points as p
        inner join checked.scans as s on p.case_key = s.case_key and p.scan = s.scan
        where not p.is_left_out"""
    )
    scan_no, place = (found[n].to_numpy(int) for n in ("scan_no", "place"))
    shape = (count_scans, place.max(initial=0) + 1)
    both = np.full((2, *shape, 3), np.nan)
    for frame, name in enumerate(("plan", "scan")):
        columns = [f"{name}_{x}_mm" for x in XYZ]
        both[frame, scan_no, place] = found[columns].to_numpy(float)
    weights = np.zeros(shape)
    weights[scan_no, place] = found["weight"].to_numpy(float)
    names = found["label"].to_numpy(str)
    labels = np.full(shape, "", dtype=names.dtype)
    labels[scan_no, place] = names
    return Points(both[0], both[1], weights, weights > 0, labels)


@dataclass(frozen=True, slots=True)
class Implants:
    """Implant rows that stand in scans' own coordinates, one reading each.

    Attributes:
        row_id: (k,) row as received.
        scan_no: (k,) its scan.
        planned: (k, 2, 3) planned entry and apex, mm; NaN where not held.
        achieved: (k, 2, 3) achieved entry and apex in the scan's coordinates, mm.
    """

    row_id: Numbers
    scan_no: Numbers
    planned: Floats
    achieved: Floats


def read_implants(warehouse: Warehouse) -> Implants:
    """Read the implant rows of all scans that hold a whole achieved position."""
    columns = [f"{state}_{end}_{x}_mm" for state in STATES for end in ENDS for x in XYZ]
    whole = " and ".join(
        f"{c} is not null" for c in columns if c.startswith("achieved")
    )
    found = warehouse.frame(
        f"""select s.scan_no, i.row_id, {", ".join(columns)}
        from staged.implants as i
        inner join checked.scans as s
            on i.case_key = s.case_key and coalesce(i.scan, '1') = s.scan
        where i.achieved_frame = 'scan' and {whole}
        order by i.row_id"""
    )
    points = found[columns].to_numpy(float).reshape(-1, 2, 2, 3)
    return Implants(
        row_id=found["row_id"].to_numpy(np.int64),
        scan_no=found["scan_no"].to_numpy(np.int64),
        planned=points[:, 0],
        achieved=points[:, 1],
    )


@dataclass(frozen=True, slots=True)
class Motions:
    """Motions that registration objects give, a scan each.

    Attributes:
        scan_no: (k,) the scan.
        rotation: (k, 3, 3), determinant +1.
        shift: (k, 3) mm; point in the plan = rotation @ point in the scan + shift.
    """

    scan_no: Numbers
    rotation: Floats
    shift: Floats


def read_motions(warehouse: Warehouse) -> Motions:
    """Read the motions of the registration objects that serve."""
    found = warehouse.frame(
        f"""select s.scan_no, {", ".join(f"m.{name}" for name in MOTION)}
        from checked.file_motions as m
        inner join checked.scans as s on m.case_key = s.case_key and m.scan = s.scan
        where m.is_used order by s.scan_no"""
    )
    values = found[list(MOTION)].to_numpy(float)
    return Motions(
        scan_no=found["scan_no"].to_numpy(np.int64),
        rotation=values[:, :9].reshape(-1, 3, 3),
        shift=values[:, 9:],
    )

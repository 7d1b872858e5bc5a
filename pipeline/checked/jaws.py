"""checked.jaw_frames: the jaw's own directions, for every case whose records tell them.

A case without a row stands in the plan's own coordinates (``plan_frame``).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.checked.promised import make_promised
from pipeline.geometry.jaw_frame import JawLandmarks, jaw_frames
from pipeline.geometry.registration import Floats
from pipeline.tables import makes
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

XYZ: Final = ("x", "y", "z")
DIRECTIONS: Final = ("left", "back", "up")
FORAMINA: Final = ("left_foramen", "right_foramen")


@makes("checked.jaw_frames", reads=("checked.jaw_cases", "checked.jaw_landmarks"))
def make_jaw_frames(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make one row for every case with landmarks or set in a surveyor."""
    cases = warehouse.frame("select * from checked.jaw_cases order by case_no")
    landmarks = warehouse.frame(
        """select c.case_no, l.kind, l.place, l.x_mm, l.y_mm, l.z_mm
        from checked.jaw_landmarks as l
        inner join checked.jaw_cases as c on l.case_key = c.case_key"""
    )
    held = {kind: _points(landmarks, kind, len(cases)) for kind in _KINDS}
    marks = JawLandmarks(
        **{kind: held[kind][:, 0] for kind in _SINGLE},
        crest=held["crest"],
        is_surveyor=cases["is_surveyor"].to_numpy(bool),
    )
    frames = jaw_frames(marks)
    midline = frames.inside(held["midline"])[:, 0]
    columns: dict[str, Any] = {
        "case_key": cases["case_key"],
        "jaw_frame_basis": frames.basis,
        "is_midline_known": frames.is_midline_known,
        "up_lean_deg": frames.up_lean_deg,
        "pad_line_back_mm": frames.pad_line_back_mm,
        "crest_midline_forward_mm": frames.pad_line_back_mm - midline[:, 1],
    }
    for row, direction in enumerate(DIRECTIONS):
        columns |= {f"{direction}_{x}": frames.axes[:, row, k] for k, x in _NUMBERED}
    columns |= {f"origin_{x}_mm": frames.origin[:, k] for k, x in _NUMBERED}
    for name in FORAMINA:
        inside = frames.inside(held[name])[:, 0]
        columns |= {f"{name}_{x}_mm": inside[:, k] for k, x in _NUMBERED}
    make_promised(warehouse, "checked.jaw_frames", columns)


_NUMBERED = tuple(enumerate(XYZ))
_SINGLE = ("left_pad", "right_pad", "midline", "plane_front")
_KINDS = (*_SINGLE, *FORAMINA, "crest")


def _points(landmarks: pd.DataFrame, kind: str, count_cases: int) -> Floats:
    """Return the points of one kind, (cases, places, 3), NaN where not held."""
    of_kind = landmarks[landmarks["kind"] == kind]
    places = of_kind["place"].to_numpy(int)
    points = np.full((count_cases, places.max(initial=0) + 1, 3), np.nan)
    coordinates = of_kind[[f"{x}_mm" for x in XYZ]].to_numpy(float)
    points[of_kind["case_no"].to_numpy(int), places] = coordinates
    return points


def axes_of_cases(warehouse: Warehouse, case_keys: pd.Series[str]) -> Floats:
    """Return rows left, back, up for each case, (n, 3, 3); the plan's own where none."""
    columns = [f"{direction}_{x}" for direction in DIRECTIONS for x in XYZ]
    known = warehouse.frame(
        f"select case_key, {', '.join(columns)} from checked.jaw_frames"
    ).set_index("case_key")
    found = known.reindex(case_keys)[columns].to_numpy(float).reshape(-1, 3, 3)
    return np.where(np.isnan(found), np.eye(3), found)

"""measured.play: how far the drill could tilt in its guide, and what that comes to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.geometry.play import play, reach_mm
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE = "measured.play"

PLAY, NO_PLAY, NOT_KNOWN = "play", "no play by size", "not known"
AT_MOST = "at most, by wear"
"""The bore was not measured: anything from no play to what the wear allowed for gives."""

BOUNDS = {
    "full": "implant",
    "half": "guided drills",
    "pilot": "pilot hole",
}
"""What the tilt bounds, by how far the drilling was guided: what is drilled without the
guide may go anywhere."""

NOTES = {
    "pilot hole": "bounds the pilot hole, not the implant",
    "guided drills": "bounds the guided drills, not the implant",
    NOT_KNOWN: "how far the drilling was guided is not known, so what this bounds is not",
}


@makes(TABLE, reads=("measured.holes",))
def make_play(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make measured.play. Grain: case_key, for cases with a bore or a drill on record."""
    holes = warehouse.frame(
        "select * from measured.holes"
        " where guidance not in ('freehand', 'dynamic', 'robotic') order by case_key"
    )
    if holes.empty:
        write_rows(warehouse, TABLE, [])
        return
    wear_mm = parameters["settings"].play.wear_mm
    figures = _figures(holes, wear_mm).astype(object)
    write_rows(
        warehouse, TABLE, figures.where(figures.notna(), None).to_dict("records")
    )


def _figures(holes: pd.DataFrame, wear_mm: float | None) -> pd.DataFrame:
    bore, length, drill = (
        holes[name].to_numpy(dtype="float64")
        for name in ("bore_mm", "hole_length_mm", "drill_mm")
    )
    is_worn = np.isnan(bore) & (wear_mm is not None)
    bore = np.where(is_worn, drill + (wear_mm or 0.0), bore)
    tilt = play(bore, length, drill)
    found = holes.assign(
        tilt_deg=tilt.tilt_deg,
        pair_deg=tilt.pair_deg,
        mean_pair_deg=tilt.mean_pair_deg,
        bounds=holes["guidance"].map(BOUNDS).fillna(NOT_KNOWN),
    )
    found["play"] = NOT_KNOWN
    found.loc[tilt.has_play, "play"] = np.where(is_worn, AT_MOST, PLAY)[tilt.has_play]
    found.loc[holes["bore_mm"] <= holes["drill_mm"], "play"] = NO_PLAY
    for end in ("low", "high"):
        entry = holes[f"to_entry_{end}_mm"].to_numpy(dtype="float64")
        apex = entry + holes["implant_length_mm"].to_numpy(dtype="float64")
        found[f"entry_reach_{end}_mm"] = reach_mm(tilt.tilt_deg, length, entry)
        found[f"apex_reach_{end}_mm"] = reach_mm(tilt.tilt_deg, length, apex)
    for name in ("entry_reach_low_mm", "apex_reach_low_mm"):
        found[name] = found[name].where(~is_worn | found[name].isna(), 0.0)
    found["note"] = [
        "; ".join(_notes(*row))
        for row in zip(
            found["play"], found["bounds"], holes["is_tissue_assumed"], strict=True
        )
    ]
    found["note"] = found["note"].where(found["note"] != "", None)
    return found


def _notes(verdict: str, bounds: str, is_tissue_assumed: Any) -> list[str]:
    said = []
    if verdict == NOT_KNOWN:
        said.append("bore, length of the hole or drill was not measured")
    elif verdict in {PLAY, AT_MOST}:
        if verdict == AT_MOST:
            said.append("bore not measured: at most this, by the wear allowed for")
        said.append(NOTES.get(bounds, ""))
        if is_tissue_assumed:
            said.append("thickness of the mucosa not measured, so a band is given")
    return [note for note in said if note]

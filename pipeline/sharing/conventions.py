"""What two data sets must agree on before their figures may stand in one mean."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from pipeline.sharing.columns import all_columns

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.warehouse import Warehouse

NOT_STATED = "not stated"

WORDS = {
    "units": "units",
    "signs": "which way figures count as positive",
    "definitions": "definitions of the columns (another version of plumbpost)",
    "up": "what leans and shifts are measured against",
    "entry_point": "the point of the implant that stands for the entry",
    "settling_in_days": "days of settling in after delivery (settling_in_days)",
    "later_diameter_mm": "diameter of a later implant (later_diameter_mm)",
}
"""The conventions, in words for a person whose data sets do not agree."""

_UP = {
    "surveyor": "square to the occlusal plane",
    "occlusal_plane": "square to the occlusal plane",
    "mean_ridge": "mean ridge",
    "pad_to_crest": "retromolar pads to crest",
    "plan_frame": "the plan's own upward direction",
}


def definitions_sha256() -> str:
    """Return the fingerprint of what every column of an export means, and of its form."""
    said = [
        (c.table, c.name, c.form, c.type, c.unit, c.null_means, c.meaning)
        for c in all_columns()
        if c.form != "dropped"
    ]
    return hashlib.sha256(repr(said).encode()).hexdigest()


def conventions_of(warehouse: Warehouse, settings: Settings) -> dict[str, Any]:
    """Return the conventions of an audit, by the names of `WORDS`.

    Where an audit holds figures of several kinds, the one that most implants have.
    """
    frames = warehouse.run(
        """select i.jaw_frame_basis, count(*) as n from summarised.implant_values as i
        where i.jaw_frame_basis is not null group by all order by n desc, 1"""
    )
    points = warehouse.run(
        """select u.achieved_reference, count(*) as n from checked.usable_implants as u
        inner join summarised.cases_used as k on u.case_key = k.case_key
        where u.achieved_reference is not null group by all order by n desc, 1"""
    )
    return {
        "units": "mm, deg, days, years",
        "signs": "deeper, toward the midline, forward and upward positive",
        "definitions": definitions_sha256(),
        "up": _UP[frames[0][0]] if frames else NOT_STATED,
        "entry_point": points[0][0] if points else NOT_STATED,
        "settling_in_days": settings.follow_up.settling_in_days,
        "later_diameter_mm": settings.room.later_diameter_mm,
    }


def disagreements(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Return what two data sets do not agree on, in words; what one does not state agrees."""
    found = []
    for name, words in WORDS.items():
        ours, theirs = one.get(name, NOT_STATED), other.get(name, NOT_STATED)
        if NOT_STATED not in {ours, theirs} and ours != theirs:
            told = "" if name == "definitions" else f": {ours}, and {theirs}"
            found.append(f"{words}{told}")
    return found

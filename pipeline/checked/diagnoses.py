"""checked.diagnoses: which mend would bring a case back whose geometry is set aside.

Every mend is tried on the two implants of the case, and the one that brings it back to
plausible is said, with how much it gains, in the suggestion of the findings. Nothing
is ever applied here; a person does with the command that the sentence names.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.checked.checks import Check, all_checks, by_id
from pipeline.checked.mending_words import (
    Found,
    Gain,
    how_to_accept,
    mends,
    names,
    sentence,
)
from pipeline.checked.points_of_cases import pairs_of, select_cases
from pipeline.geometry.diagnosing import Diagnoses, diagnose
from pipeline.geometry.plausible import Limits, largest
from pipeline.geometry.registration import Floats
from pipeline.tables import makes
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

MOST_CASES: Final = 20_000
"""More cases set aside at once are a fault of a whole file, and the first tell it."""

EVIDENCE: Final = (
    "checked.implants_evidence",
    "checked.pair_evidence",
    "checked.registration_evidence",
    "checked.registration_file_evidence",
)


def is_geometric(check: Check) -> bool:
    """Tell whether a check looks at points and sets a row or a case aside."""
    return (
        check.evidence_table in EVIDENCE
        and check.evidence.endswith(("_mm", "_deg"))
        and check.severity != "warn"
        and check.reach in ("row", "case")
    )


def geometric_ids() -> list[str]:
    """Return the checks whose findings a mend may answer."""
    return [check.check_id for check in all_checks() if is_geometric(check)]


def limits() -> Limits:
    """Return the limits of the checks that look at the same figures."""

    def high(check_id: str) -> float:
        return float(by_id()[check_id].high)

    def both(check_id: str) -> tuple[float, float]:
        check = by_id()[check_id]
        return float(check.low), float(check.high)

    return Limits(
        entry_mm=high("implants-entry-far"),
        angle_deg=high("implants-angle-large"),
        planned_length_mm=high("implants-planned-length"),
        achieved_length_mm=high("implants-achieved-length"),
        axis_mm=both("implants-achieved-axis-size"),
        spacing_mm=both("pair-readings-entry-spacing"),
        side_mm=float(by_id()["pair-achieved-sides"].low),
    )


@makes(
    "checked.diagnoses",
    reads=(
        "checked.findings",
        "checked.poses",
        "checked.registrations",
        "staged.implants",
        "staged.cases",
    ),
)
def make_diagnoses(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make checked.diagnoses, and say each in the suggestion of its findings."""
    cases = warehouse.frame(select_cases(geometric_ids()), {"most": MOST_CASES})
    found = diagnose(pairs_of(cases), limits(), mends())
    warehouse.make_from_frame(
        "checked.diagnoses",
        _rows(cases, found),
        """case_key::varchar as case_key, mend::varchar as mend,
        other_mends::varchar as other_mends, entry_before_mm::double as entry_before_mm,
        entry_after_mm::double as entry_after_mm,
        angle_before_deg::double as angle_before_deg,
        angle_after_deg::double as angle_after_deg, is_unique::boolean as is_unique,
        sentence::varchar as sentence, finding_ids::varchar[] as finding_ids""",
    )
    warehouse.run(
        """update checked.findings as f
        set suggestion = if(
            s.mend = 'none', f.suggestion || ' ' || s.sentence,
            s.sentence || ' ' || f.suggestion
        )
        from (
            select unnest(finding_ids) as finding_id, mend, sentence
            from checked.diagnoses
        ) as s where f.finding_id = s.finding_id"""
    )


def _rows(cases: pd.DataFrame, found: Diagnoses) -> pd.DataFrame:
    """Return the rows of checked.diagnoses: the cases whose points are at fault."""
    import pandas as pd

    at_fault = np.flatnonzero(found.before.count_broken > 0).tolist()
    equal = [_equally_good(found, place) for place in at_fault]
    named = [names(mend for mend, _ in one).partition("|") for one in equal]
    lengths = found.before.count_lengths_broken > 0
    labelled = cases["left_placed_label"].notna() | cases["right_placed_label"].notna()
    said = [
        sentence(one, has_labels=bool(labelled.iloc[place]), was_length=lengths[place])
        + how_to_accept([mend for mend, _ in one], cases["finding_ids"].iloc[place][0])
        for one, place in zip(equal, at_fault, strict=True)
    ]
    values = {
        "entry_before_mm": largest(found.before.entry_mm),
        "entry_after_mm": found.of_best(found.entry_after_mm),
        "angle_before_deg": largest(found.before.angle_deg),
        "angle_after_deg": found.of_best(found.angle_after_deg),
    }
    return pd.DataFrame(
        {
            "case_key": cases["case_key"].to_numpy(object)[at_fault],
            "mend": pd.Series([first or "none" for first, _, _ in named], dtype=object),
            "other_mends": pd.Series(
                [more or None for _, _, more in named], dtype=object
            ),
            **{name: _finite(value[at_fault]) for name, value in values.items()},
            "is_unique": found.is_unique[at_fault],
            "sentence": pd.Series(said, dtype=object),
            "finding_ids": cases["finding_ids"].to_numpy(object)[at_fault],
        }
    )


def _finite(values: Floats) -> Floats:
    return np.where(np.isfinite(values), values, np.nan)


def _equally_good(found: Diagnoses, place: int) -> list[Found]:
    """Return the mends of a case that do equally well, each with what it leaves."""
    one = slice(place, place + 1)
    entry = float(largest(found.before.entry_mm[one])[0])
    angle = float(largest(found.before.angle_deg[one])[0])
    return [
        (
            mends()[number],
            Gain(
                entry,
                float(found.entry_after_mm[place, number]),
                angle,
                float(found.angle_after_deg[place, number]),
                float(found.lean_forward_deg[place, number]),
            ),
        )
        for number in np.flatnonzero(found.also[place])
    ]

"""summarised.error_budget and summarised.common_share: is it the guide or the hand.

What both implants of a pair share is called guide or superimposition: the records cannot
tell the two apart, only how much of it the superimposition is expected to give.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import degrees, sqrt
from typing import Any, Final, TypeAlias

from pipeline.statistics.budget import (
    Budget,
    Divided,
    budget,
    caution,
    common_share,
    refusal,
)
from pipeline.statistics.common_motion import common_motion
from pipeline.statistics.means import student_limits
from pipeline.statistics.variances import Variance, sample_variance
from pipeline.summarised.motion_pairs import IN_MM, Group, groups
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

Limits: TypeAlias = tuple[float, float | None, float | None]

BUDGET: Final = "summarised.error_budget"
SHARES: Final = "summarised.common_share"
OVERALL: Final = "overall"
DEG: Final = degrees(1)

BIAS_OF: Final = {
    "left_right": "shift_left",
    "depth": "shift_up",
    "facial_position": "shift_back",
    "frontal_lean": "roll",
    "sagittal_lean": "pitch",
    "turned_from_above": "yaw",
    "spacing": "spacing",
    "frontal_convergence": "convergence",
    "sagittal_difference": "sagittal",
    "contradiction": "contradiction",
}
"""The number whose mean is the bias of each component."""

COMPONENTS: Final = {
    "left_right": "mm",
    "depth": "mm",
    "see_saw": "mm",
    "facial_position": "mm",
    "frontal_lean": "deg",
    "sagittal_lean": "deg",
}
"""Components of the scatter and their units; see-saw as height at one implant."""

READ_BY: Final = {
    "left_right": "place_reading_sd_mm",
    "depth": "place_reading_sd_mm",
    "frontal_lean": "lean_reading_sd_deg",
    "sagittal_lean": "lean_reading_sd_deg",
}


@makes(BUDGET, SHARES, reads=("summarised.motion_values", "summarised.cases_used"))
def make_error_budget(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make both tables. Grain: group, component, part; and group, component."""
    parts: list[dict[str, Any]] = []
    shares: list[dict[str, Any]] = []
    for group in groups(warehouse):
        said = refusal(group.n_pairs)
        head = {
            "group_by": group.group_by,
            "group_value": group.group_value,
            "sources": group.sources,
            "n_cases": group.n_cases,
            "n_pairs": group.n_pairs,
        }
        if said:
            note = _joined(said, *group.left_out)
            shares.append({**head, "component": OVERALL, "note": note})
            continue
        found = budget(group.pairs)
        parts += [{**head, **row} for row in _parts(group, found)]
        shares += [{**head, **row} for row in _shares(group, found)]
    write_rows(warehouse, BUDGET, parts)
    write_rows(warehouse, SHARES, shares)


def _parts(group: Group, found: Budget) -> Iterator[dict[str, Any]]:
    note = _joined(caution(group.n_pairs))
    for row in (*_bias(group), *_scatter(group, found)):
        yield {**row, "note": note}


def _bias(group: Group) -> Iterator[dict[str, Any]]:
    """Yield the mean of each of the ten numbers with its interval."""
    errors, n = group.pairs.errors, group.n_pairs
    for component, name in BIAS_OF.items():
        scale, unit = (1.0, "mm") if name in IN_MM else (DEG, "deg")
        values = scale * getattr(errors, name)
        mean, se = float(values.mean()), sqrt(float(sample_variance(values)) / n)
        low, high = student_limits(mean, se, n)
        yield {
            "component": component,
            "part": "bias",
            "unit": unit,
            "sd": mean,
            "low": low,
            "high": high,
        }


def _scatter(group: Group, found: Budget) -> Iterator[dict[str, Any]]:
    """Yield common, registration, own and reading of each component."""
    registered = _registration(group)
    for component, unit in COMPONENTS.items():
        scale = 1.0 if unit == "mm" else DEG
        divided: Divided = getattr(found, component)
        common = "undivided" if component == "facial_position" else "common"
        rows: list[tuple[str, Limits]] = [(common, _limits(divided.common, scale))]
        if registered is not None:
            rows.append(("registration", (scale * registered[component], None, None)))
        if divided.own is not None:
            rows.append(("own", _limits(divided.own, scale)))
            reading = group.reading_variance(READ_BY[component])
            if reading is not None:
                rows.append(("reading", (sqrt(reading), None, None)))
        for part, (sd, low, high) in rows:
            yield {
                "component": component,
                "part": part,
                "unit": unit,
                "sd": sd,
                "low": low,
                "high": high,
            }


def _registration(group: Group) -> dict[str, float] | None:
    """Return the expected sd of the superimposition by component; mm and radians."""
    known = group.superimposing
    if known is None:
        return None
    half_w2 = group.pairs.w2 / 4
    variances = {
        "left_right": known.shift_left,
        "depth": known.shift_up,
        "see_saw": half_w2 * known.roll,
        "facial_position": known.shift_back + half_w2 * known.yaw,
        "frontal_lean": known.roll,
        "sagittal_lean": known.pitch,
    }
    return {name: sqrt(float(values.mean())) for name, values in variances.items()}


def _limits(variance: Variance, scale: float) -> Limits:
    """Return standard deviation and limits; what is below 0 is cut only here."""
    value, low, high = (
        scale * sqrt(max(0.0, float(end)))
        for end in (variance.value, variance.low, variance.high)
    )
    return value, low, high


def _shares(group: Group, found: Budget) -> Iterator[dict[str, Any]]:
    """Yield the overall share with its test, then the share of three components."""
    together = common_share(group.pairs)
    moved = common_motion(group.pairs)
    row: dict[str, Any] = {
        "component": OVERALL,
        "share": float(together.value),
        "share_low": float(together.low),
        "share_high": float(together.high),
        "p": moved.p,
        "is_exact": moved.is_exact,
        "seen_share": moved.seen_share,
        "null_share": moved.null_share,
        "n_superimposed": group.count_superimposed,
    }
    if group.superimposing is not None:
        beyond = common_share(group.pairs, group.superimposing)
        row |= {
            "beyond_share": float(beyond.value),
            "beyond_low": float(beyond.low),
            "beyond_high": float(beyond.high),
        }
    yield {**row, "note": _joined(caution(group.n_pairs), *_unknown(group))}
    for component, share in found.fractions.items():
        value, low, high = (
            min(1.0, max(0.0, float(end)))
            for end in (share.value, share.low, share.high)
        )
        yield {
            "component": component,
            "share": value,
            "share_low": low,
            "share_high": high,
            "note": _joined(caution(group.n_pairs)),
        }


def _unknown(group: Group) -> Iterator[str]:
    """Yield what the figures cannot tell, and what was left out."""
    n, known = group.n_pairs, group.count_superimposed
    if known < n:
        yield (
            f"error of superimposing known for {known} of {n} pairs, so it is not taken"
            " off what both implants share"
        )
    if group.is_reading_published:
        yield "error of reading: a published one, for want of own repeats"
    yield from group.left_out


def _joined(*sentences: str | None) -> str | None:
    said = [sentence.rstrip(".") for sentence in sentences if sentence]
    return "; ".join(said) or None

"""The planted truths: every number the invented clinic is made from.

Positions are planted as the ten pair modes: six rigid ones (how both implants moved
together) and four that a rigid motion cannot make. Signs follow the jaw's axes: left,
back and up are positive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from math import hypot, radians
from typing import Any

RIGID_MODES = ("shift_left", "shift_back", "shift_up", "roll", "pitch", "yaw")
OTHER_MODES = (
    "spacing",
    "frontal_convergence",
    "sagittal_difference",
    "contradiction",
)
MODES = RIGID_MODES + OTHER_MODES
"""Shifts and spacing in mm, the others in radians where they are arrays."""

AXES = ("left", "back", "up")
PLANES = ("frontal", "sagittal")
RESILIENT = ("stud", "ball", "bar")
ATTACHMENTS = (*RESILIENT, "magnet")

Row = tuple[str, str, float, str, str]


def _truth(unit: str, meaning: str, parts: tuple[str, ...] = (), **default: Any) -> Any:
    """Return a dataclass field that says its unit, meaning and parts."""
    metadata = {"unit": unit, "meaning": meaning, "parts": parts}
    return field(metadata=metadata, **default)


@dataclass(frozen=True, slots=True)
class GuidanceTruth:
    """Errors of one class of guidance: full, pilot or freehand."""

    guidance: str
    shift_mm: tuple[float, float, float] = _truth(
        "mm", "systematic shift of both implants", AXES
    )
    common_shift_sd_mm: tuple[float, float, float] = _truth(
        "mm", "scatter of both implants together", AXES
    )
    common_turn_sd_deg: tuple[float, float, float] = _truth(
        "deg", "turn of both implants together", ("roll", "pitch", "yaw")
    )
    own_place_sd_mm: tuple[float, float, float] = _truth(
        "mm", "scatter of each implant by itself, at its entry", AXES
    )
    own_lean_sd_deg: tuple[float, float] = _truth(
        "deg", "lean of each implant by itself", PLANES
    )
    lab_pair_sd_deg: float = _truth(
        "deg", "tubes of the guide as made against each other, in each plane"
    )

    @property
    def group(self) -> str:
        """The class of guidance."""
        return self.guidance

    def mode_sds(self, length_mm: float, spacing_mm: float) -> dict[str, float]:
        """Return the standard deviation each pair mode has by these truths.

        The modes are linear in the draws, so their variances add; own scatter enters
        the mean of the two implants with half its variance and their difference with
        twice its variance. An implant's own lean turns it about its entry, so it also
        moves the middle of the axis, by half the length.

        Args:
            length_mm: planned implant length L.
            spacing_mm: planned distance W of the two entries.

        Returns:
            Mode -> standard deviation; mm for shifts and spacing, degrees else.
        """
        left, back, up = self.own_place_sd_mm
        frontal, sagittal = self.own_lean_sd_deg
        l2, w2 = length_mm**2, spacing_mm**2
        root2, mm_to_deg = 2**0.5, 1 / radians(spacing_mm)
        mean_lean, slope = frontal / root2, root2 * up * mm_to_deg
        left = hypot(left, radians(frontal) * length_mm / 2)
        back = hypot(back, radians(sagittal) * length_mm / 2)
        common = (*self.common_shift_sd_mm, *self.common_turn_sd_deg)
        own = (
            left / root2,
            back / root2,
            up / root2,
            hypot(l2 * mean_lean, w2 * slope) / (l2 + w2),
            sagittal / root2,
            root2 * back * mm_to_deg,
        )
        values = (
            *map(hypot, common, own),
            root2 * left,
            hypot(root2 * frontal, self.lab_pair_sd_deg),
            hypot(root2 * sagittal, self.lab_pair_sd_deg),
            hypot(mean_lean, slope),
        )
        return dict(zip(MODES, values, strict=True))


@dataclass(frozen=True, slots=True)
class BatchTruth:
    """One lot of guide resin whose tubes came out not parallel."""

    material_lot: str = "R-2407"
    frontal_convergence_deg: float = _truth(
        "deg", "added to the pair, five cases in a row", default=6.0
    )
    sagittal_difference_deg: float = _truth(
        "deg", "added to the pair, five cases in a row", default=-3.0
    )

    @property
    def group(self) -> str:
        """The lot."""
        return f"bad batch, lot {self.material_lot}"


@dataclass(frozen=True, slots=True)
class LearningTruth:
    """Own scatter of one resident, falling with the number of own cases."""

    operator: str = "Ondrisk"
    first_case_factor: float = _truth(
        "times", "own scatter at the first own case", default=2.0
    )
    half_after_cases: float = _truth(
        "cases", "after these the excess has halved", default=3.0
    )

    @property
    def group(self) -> str:
        """The resident."""
        return f"resident {self.operator}"

    def factor(self, own_case_number: Any) -> Any:
        """Return what own scatter is multiplied with at that own case (1, 2, ..)."""
        halvings = (own_case_number - 1) / self.half_after_cases
        return 1 + (self.first_case_factor - 1) * 0.5**halvings


@dataclass(frozen=True, slots=True)
class ReadingTruth:
    """Error of one reading of an achieved position."""

    source: str
    reading_place_sd_mm: float = _truth("mm", "middle of the axis, one coordinate")
    reading_lean_sd_deg: float = _truth("deg", "one plane")

    @property
    def group(self) -> str:
        """The source of the reading."""
        return self.source


@dataclass(frozen=True, slots=True)
class CastTruth:
    """Errors of hand readings on a cast and on pins."""

    ruler_step_mm: float = _truth("mm", "readings are rounded to it", default=0.5)
    ruler_sd_mm: float = _truth("mm", "before rounding", default=0.15)
    midline_mark_sd_mm: float = _truth("mm", "shared by both sides", default=0.4)
    callipers_step_mm: float = _truth("mm", "readings are rounded to it", default=0.1)
    callipers_sd_mm: float = _truth("mm", "before rounding", default=0.05)
    pin_length_mm: float = _truth("mm", "parallel pins in both implants", default=20.0)
    photo_sd_deg: float = _truth("deg", "one plane of the pair", default=1.0)
    guide_reading_sd_deg: float = _truth("deg", "pins in the guide", default=0.3)

    @property
    def group(self) -> str:
        """How the readings are made."""
        return "by hand"


@dataclass(frozen=True, slots=True)
class EventTruth:
    """Rate of one kind of event, for dentures with some kinds of attachment."""

    event: str
    attachments: tuple[str, ...]
    rate_first_year: float = _truth("a year", "events per denture-year, first year")
    rate_later: float = _truth("a year", "events per denture-year, later")

    @property
    def group(self) -> str:
        """The event and the attachments."""
        return f"{self.event}: {', '.join(self.attachments)}"


GUIDANCE = (
    GuidanceTruth(
        guidance="full",
        shift_mm=(0.0, -0.4, 0.3),
        common_shift_sd_mm=(0.45, 0.45, 0.4),
        common_turn_sd_deg=(1.75, 1.85, 1.2),
        own_place_sd_mm=(0.5, 0.55, 0.45),
        own_lean_sd_deg=(2.0, 2.1),
        lab_pair_sd_deg=0.4,
    ),
    GuidanceTruth(
        guidance="pilot",
        shift_mm=(0.0, -0.4, 0.3),
        common_shift_sd_mm=(0.6, 0.6, 0.5),
        common_turn_sd_deg=(2.0, 2.2, 1.5),
        own_place_sd_mm=(0.75, 0.85, 0.65),
        own_lean_sd_deg=(3.6, 3.9),
        lab_pair_sd_deg=0.8,
    ),
    GuidanceTruth(
        guidance="freehand",
        shift_mm=(0.0, 0.0, 0.0),
        common_shift_sd_mm=(0.6, 0.6, 0.5),
        common_turn_sd_deg=(2.0, 2.5, 2.0),
        own_place_sd_mm=(1.6, 1.7, 1.4),
        own_lean_sd_deg=(7.4, 7.8),
        lab_pair_sd_deg=0.0,
    ),
)

READINGS = (
    ReadingTruth("scan_body", reading_place_sd_mm=0.08, reading_lean_sd_deg=0.4),
    ReadingTruth("cbct", reading_place_sd_mm=0.20, reading_lean_sd_deg=0.7),
    ReadingTruth("cast_scan", reading_place_sd_mm=0.12, reading_lean_sd_deg=0.6),
)

EVENTS = (
    EventTruth("insert_renewed", ("stud",), 0.70, 0.45),
    EventTruth("insert_renewed", ("ball",), 0.50, 0.35),
    EventTruth("insert_renewed", ("bar",), 0.30, 0.20),
    EventTruth("retention_adjusted", ("stud", "bar"), 0.20, 0.12),
    EventTruth("retention_adjusted", ("ball",), 0.45, 0.25),
    EventTruth("insert_lost", RESILIENT, 0.06, 0.04),
    EventTruth("housing_detached", ("stud", "ball"), 0.07, 0.05),
    EventTruth("magnet_detached", ("magnet",), 0.25, 0.12),
    EventTruth("screw_loose", ATTACHMENTS, 0.06, 0.03),
    EventTruth("debris_cleaned", ATTACHMENTS, 0.10, 0.06),
    EventTruth("base_fractured", ATTACHMENTS, 0.02, 0.04),
    EventTruth("tooth_broken", ATTACHMENTS, 0.03, 0.05),
    EventTruth("relined", ATTACHMENTS, 0.02, 0.12),
    EventTruth("occlusion_adjusted", ATTACHMENTS, 0.30, 0.05),
    EventTruth("sore_spot", ATTACHMENTS, 0.80, 0.25),
)


@dataclass(frozen=True, slots=True)
class Truths:
    """All planted truths of one invented clinic."""

    guidance: tuple[GuidanceTruth, ...] = GUIDANCE
    batch: BatchTruth = field(default_factory=BatchTruth)
    learning: LearningTruth = field(default_factory=LearningTruth)
    readings: tuple[ReadingTruth, ...] = READINGS
    cast: CastTruth = field(default_factory=CastTruth)
    events: tuple[EventTruth, ...] = EVENTS
    frailty_variance: float = _truth(
        "", "of the gamma factor (mean 1) on all rates of a patient", default=0.8
    )
    event_ratio_per_deg: float = _truth(
        "times", "events do not depend on any lean or angle", default=1.0
    )
    planned_lean_limit_deg: float = _truth(
        "deg", "planned leans are even within this, full guidance only", default=3.0
    )
    deeper_by_mm: float = _truth("mm", "one implant of the harm case", default=3.1)
    deliberate_mm: float = _truth(
        "mm", "one implant moved toward the midline on purpose", default=2.0
    )
    abandoned_factor: float = _truth(
        "times", "own scatter once the guide was abandoned", default=1.8
    )

    @property
    def group(self) -> str:
        """The clinic as a whole."""
        return "clinic"

    def rows(self) -> Iterator[Row]:
        """Yield every truth as (truth, group, value, unit, meaning)."""
        for part in (
            *self.guidance,
            self.batch,
            self.learning,
            *self.readings,
            self.cast,
            *self.events,
            self,
        ):
            yield from _rows(part)


def _rows(part: Any) -> Iterator[Row]:
    for truth in fields(part):
        if "meaning" not in truth.metadata:
            continue
        unit, meaning = truth.metadata["unit"], truth.metadata["meaning"]
        value = getattr(part, truth.name)
        if not truth.metadata["parts"]:
            yield truth.name, part.group, value, unit, meaning
            continue
        for name, one in zip(truth.metadata["parts"], value, strict=True):
            yield f"{truth.name} {name}", part.group, one, unit, meaning


DEFAULT = Truths()
"""The truths behind the committed clinic."""

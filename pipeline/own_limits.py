"""Limits and sizes a clinic may set for itself in audit.toml, each with its default."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Self

from pipeline.errors import SettingsError


@dataclass(frozen=True, slots=True)
class OwnLimits:
    """One section of audit.toml whose values are sizes above 0."""

    section: ClassVar[str] = ""

    @classmethod
    def read(cls, said: Mapping[str, Any]) -> Self:
        """Read the section; what it does not say keeps its default.

        Raises:
            SettingsError: a name is unknown, or a value is no number above 0.
        """
        known = [field.name for field in fields(cls)]
        for name, value in said.items():
            if name not in known:
                raise SettingsError(
                    f"audit.toml has {cls.section}.{name}, which is not a setting.",
                    hint=f"Allowed here: {', '.join(sorted(known))}.",
                )
            is_number = isinstance(value, int | float) and not isinstance(value, bool)
            if not is_number or not 0 < value < float("inf"):
                raise SettingsError(
                    f"audit.toml: {cls.section}.{name} should be a number above 0."
                )
        return cls(**{name: float(value) for name, value in said.items()})

    def parameters(self) -> dict[str, float | None]:
        """Return the values by name, for the SQL files."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


@dataclass(frozen=True, slots=True)
class Superimposing(OwnLimits):
    """How uncertain a superimposition may leave an implant before it is refused.

    Attributes:
        largest_entry_error_mm: expected position error at the entry, rms in 3-D.
        largest_axis_error_deg: expected error of the axis, both planes together.
    """

    section: ClassVar[str] = "superimposing"
    largest_entry_error_mm: float = 1.5
    largest_axis_error_deg: float = 3.0


@dataclass(frozen=True, slots=True)
class Room(OwnLimits):
    """What a later implant would need, and how far the line through both may fall back.

    Attributes:
        later_diameter_mm: its diameter (common practice, no source).
        gap_mm: bone wanted beside it; at 3 mm or less between two implants the crest
            lost 1.04 mm, beyond 0.45 mm (J Periodontol 2000;71:546, abstract).
        step_mm: how far out from its neighbour a later distal implant would stand
            (common practice, no source).
        distal_room_mm: what is wanted in front of the foramen where the loop of the nerve
            was not measured (Nguyen and others 2021, jdmfs.org article 1173: one population of 112
            patients; advisory, it permits nothing).
        widest_spacing_mm: largest distance between the two that bench studies of
            attachments tried (Int J Prosthodont 2006, Michelinakis and Barclay).
        slack_mm: how far the line through both may fall behind its plan, one end of it
            alone, or a site off the clinic's rule (common practice, no source).
    """

    section: ClassVar[str] = "room"
    later_diameter_mm: float = 4.0
    gap_mm: float = 3.0
    step_mm: float = 8.0
    distal_room_mm: float = 5.0
    widest_spacing_mm: float = 29.0
    slack_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class Play(OwnLimits):
    """What may be assumed of a hole whose bore nobody measured.

    Attributes:
        wear_mm: a hole made to the drill may have worn this much wider; None: nothing is
            assumed, because no figure in print is known.
    """

    section: ClassVar[str] = "play"
    wear_mm: float | None = None


@dataclass(frozen=True, slots=True)
class FollowUp(OwnLimits):
    """How the years after delivery are counted (all common practice, no source).

    Attributes:
        settling_in_days: from delivery; what happens then is reported apart.
        recall_months: a wearer is due again this long after being seen.
        overdue_months: and overdue this long after.
    """

    section: ClassVar[str] = "follow_up"
    settling_in_days: float = 30.0
    recall_months: float = 6.0
    overdue_months: float = 9.0


@dataclass(frozen=True, slots=True)
class Programme(OwnLimits):
    """When a trainee's run of cases is a signal; the clinic's own choice, no source.

    Attributes:
        acceptable_percent: share of cases that may miss a signed criterion. It is set on
            cases: 10 % of implants are some 16 % of cases with two.
        unacceptable_percent: share that must not be missed.
        planned_cases: cases of a trainee within which a false signal counts.
        false_signal_percent: largest chance of one.
    """

    section: ClassVar[str] = "programme"
    acceptable_percent: float = 20.0
    unacceptable_percent: float = 40.0
    planned_cases: float = 30.0
    false_signal_percent: float = 5.0

    @classmethod
    def read(cls, said: Mapping[str, Any]) -> Self:
        """Read the section, and refuse shares that are no question.

        Raises:
            SettingsError: the shares are not in order or not below 100, or the number of
                planned cases is not a whole number up to 200.
        """
        found = super(Programme, cls).read(said)
        if not found.acceptable_percent < found.unacceptable_percent < 100:
            raise SettingsError(
                "audit.toml: programme.unacceptable_percent should lie between"
                " programme.acceptable_percent and 100."
            )
        if not found.false_signal_percent < 100:
            raise SettingsError(
                "audit.toml: programme.false_signal_percent should be below 100."
            )
        if found.planned_cases != int(found.planned_cases) or found.planned_cases > 200:
            raise SettingsError(
                "audit.toml: programme.planned_cases should be a whole number up to 200."
            )
        return found


@dataclass(frozen=True, slots=True)
class Allowance(OwnLimits):
    """The angle between the two implants a clinic allows for its kind of attachment.

    No clinical study ties that angle to attachment trouble; `attachment_limits.csv` has
    what is in print.

    Attributes:
        stud_between_deg: advised from the bench alone (Niger J Clin Pract, article
            172313).
        ball_between_deg: common practice, no source.
        telescopic_between_deg: common practice, no source.
        bar_between_deg: None: no fixed limit is known.
        magnet_between_deg: None: no limit between two implants is known.
    """

    section: ClassVar[str] = "allowance"
    stud_between_deg: float = 20.0
    ball_between_deg: float = 10.0
    telescopic_between_deg: float = 10.0
    bar_between_deg: float | None = None
    magnet_between_deg: float | None = None


SETTINGS_TEXT = """\
# A superimposition that leaves an implant less certain than this is not used; the
# figures of the pair still come:
# [superimposing]
# largest_entry_error_mm = 1.5
# largest_axis_error_deg = 3.0

# Room for later implants, between the two and behind each:
# [room]
# later_diameter_mm = 4.0
# gap_mm = 3.0                 # bone wanted on each side of an implant in the middle
# step_mm = 8.0                # how far out from its neighbour a later distal one would stand
# distal_room_mm = 5.0         # wanted in front of the foramen; advisory, it permits nothing
# widest_spacing_mm = 29.0     # between the two implants
# slack_mm = 1.0               # how far the line through both, or a site, may be off its plan or rule

# Where the bore of a guide's hole was not measured, the drill may tilt in it by no play up to what
# this much wear would give; nothing is assumed unless it is set here (no figure in print is known):
# [play]
# wear_mm = 0.1

# The angle between the two implants allowed for each kind of attachment, in degrees:
# [allowance]
# stud_between_deg = 20        # advised from the bench alone
# ball_between_deg = 10        # common practice, as the next
# telescopic_between_deg = 10
# bar_between_deg and magnet_between_deg: no limit unless one is set here

# The years after delivery:
# [follow_up]
# settling_in_days = 30        # from delivery; what happens then is reported apart
# recall_months = 6            # due again this long after being seen
# overdue_months = 9           # and overdue this long after

# Trainees: when a run of own cases is a signal; a case fails when it misses a signed criterion:
# [programme]
# acceptable_percent = 20      # of cases, not of implants
# unacceptable_percent = 40
# planned_cases = 30           # within which a false signal counts
# false_signal_percent = 5     # largest chance of one
"""

"""What audit.toml says: the settings of an audit, their limits, their first text."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipeline import own_limits
from pipeline.errors import SettingsError
from pipeline.keys import key_home


@dataclass(frozen=True, slots=True)
class Cycle:
    """An audit cycle: cases operated from one day to another, both included."""

    name: str
    first_day: date | None = None
    last_day: date | None = None


ALL_CASES = Cycle("all cases")


@dataclass(frozen=True, slots=True)
class PlanRules:
    """The clinic's own rules for a plan that is not written down case by case.

    Attributes:
        site_rule_mm: distance of each site from the midline; None: no rule.
        axis_rule: ``surveyor``: both axes are planned square to the occlusal plane,
            so parallel; empty: no rule.
    """

    site_rule_mm: float | None = None
    axis_rule: str = ""


AXIS_RULES = ("surveyor",)


@dataclass(frozen=True, slots=True)
class Settings:
    """What audit.toml says.

    Attributes:
        audit_id: names the key that belongs to this audit.
        title: printed on reports.
        lead: who is responsible, written to the log of changes.
        key_file: the key that makes the codes; outside the audit folder.
        merge_sources: figures of different sources may share a mean.
        depth_margin_mm: an implant deeper than planned by more than this is
            named to the treating clinician.
        cycles: the audit cycles by name.
        plan_rules: what fills a plan that no record holds.
        pool_keys: published figures the reader chose to pool, by their keys; empty: the
            studies of the comparison set.
        superimposing: how uncertain a superimposition may be.
        room: what a later implant would need.
        play: what may be assumed of a hole nobody measured.
        allowance: the angle between the two allowed for each kind of attachment.
        follow_up: how the years after delivery are counted.
        programme: when a trainee's run of cases is a signal.
    """

    audit_id: str
    title: str
    lead: str
    key_file: Path
    merge_sources: bool
    depth_margin_mm: float
    cycles: dict[str, Cycle]
    plan_rules: PlanRules
    pool_keys: tuple[str, ...]
    superimposing: own_limits.Superimposing
    room: own_limits.Room
    play: own_limits.Play
    allowance: own_limits.Allowance
    follow_up: own_limits.FollowUp
    programme: own_limits.Programme

    def cycle(self, name: str | None) -> Cycle:
        """Return the cycle of that name, or all cases.

        Raises:
            SettingsError: no cycle of that name is set.
        """
        if name is None:
            return ALL_CASES
        if name not in self.cycles:
            known = ", ".join(self.cycles) or "none"
            raise SettingsError(
                f"audit.toml sets no cycle named {name!r}; it sets: {known}.",
                hint="Add [[cycle]] with name, from and to, or leave --cycle out.",
            )
        return self.cycles[name]

    def cycle_before(self, cycle: Cycle) -> Cycle | None:
        """Return the last cycle that ended before this one began; None without one."""
        ended = [
            (other.last_day, other)
            for other in self.cycles.values()
            if cycle.first_day and other.last_day and other.last_day < cycle.first_day
        ]
        return max(ended, key=lambda pair: pair[0])[1] if ended else None


def settings_from(said: dict[str, Any]) -> Settings:
    """Return the settings that audit.toml says, as read.

    Raises:
        SettingsError: a name is no setting, or a value cannot be followed.
    """
    of_limits = {limits.section for limits in own_limits.OwnLimits.__subclasses__()}
    _refuse_unknown(said, {"audit", "summary", "cycle", "plan", "pool", *of_limits}, "")
    part = said.get("audit", {})
    _refuse_unknown(part, {"audit_id", "title", "lead", "key_file"}, "audit.")
    summary = said.get("summary", {})
    _refuse_unknown(summary, {"merge_sources", "depth_margin_mm"}, "summary.")
    if not part.get("audit_id"):
        raise SettingsError(
            "audit.toml has no audit.audit_id.",
            hint="It was written by start; put it back.",
        )
    audit_id = _of_type(part["audit_id"], str, "audit.audit_id")
    key_file = _of_type(part.get("key_file", ""), str, "audit.key_file")
    return Settings(
        audit_id=audit_id,
        title=_of_type(part.get("title", ""), str, "audit.title"),
        lead=_of_type(part.get("lead", ""), str, "audit.lead"),
        key_file=Path(key_file) if key_file else key_home() / audit_id / "key",
        merge_sources=_of_type(
            summary.get("merge_sources", False), bool, "summary.merge_sources"
        ),
        depth_margin_mm=float(
            _of_type(
                summary.get("depth_margin_mm", 2.0),
                (int, float),
                "summary.depth_margin_mm",
            )
        ),
        cycles={cycle.name: cycle for cycle in map(_cycle, said.get("cycle", []))},
        plan_rules=_plan_rules(said.get("plan", {})),
        pool_keys=_pool_keys(said.get("pool", {})),
        superimposing=own_limits.Superimposing.read(said.get("superimposing", {})),
        room=own_limits.Room.read(said.get("room", {})),
        play=own_limits.Play.read(said.get("play", {})),
        allowance=own_limits.Allowance.read(said.get("allowance", {})),
        follow_up=own_limits.FollowUp.read(said.get("follow_up", {})),
        programme=own_limits.Programme.read(said.get("programme", {})),
    )


def _site_range_mm() -> tuple[float, float]:
    """Return what a distance from the midline may be, as the check of casts says."""
    from pipeline.reference import load

    rows = {row["check_id"]: row for row in load.rows("checks/cast_readings")}
    limits = rows["cast-readings-midline"]
    return float(limits["low"]), float(limits["high"])


def _pool_keys(said: dict[str, Any]) -> tuple[str, ...]:
    from pipeline.reference import load

    _refuse_unknown(said, {"keys"}, "pool.")
    keys = _of_type(said.get("keys", []), list, "pool.keys")
    known = {row["key"] for row in load.rows("published_accuracy")}
    for key in keys:
        if not isinstance(key, str) or key not in known:
            raise SettingsError(
                f"audit.toml: pool.keys has {key!r}, which is no published figure.",
                hint="The keys stand in the first column of summarised.published_matches.",
            )
    return tuple(dict.fromkeys(keys))


def _plan_rules(said: dict[str, Any]) -> PlanRules:
    _refuse_unknown(said, {"site_rule_mm", "axis_rule"}, "plan.")
    site = said.get("site_rule_mm")
    if site is not None:
        site = float(_of_type(site, (int, float), "plan.site_rule_mm"))
        low, high = _site_range_mm()
        if not low <= site <= high:
            raise SettingsError(
                f"audit.toml: plan.site_rule_mm is {site:g}; {low:g} to {high:g} is possible.",
                hint="It is the distance of each site from the midline, in millimetres.",
            )
    axis = _of_type(said.get("axis_rule", ""), str, "plan.axis_rule")
    if axis and axis not in AXIS_RULES:
        raise SettingsError(
            f"audit.toml: plan.axis_rule is {axis!r}, which is no rule.",
            hint=f"Allowed: {', '.join(AXIS_RULES)}; or leave the line out.",
        )
    return PlanRules(site, axis)


def _refuse_unknown(part: dict[str, Any], known: set[str], where: str) -> None:
    for name in part:
        if name not in known:
            raise SettingsError(
                f"audit.toml has {where}{name}, which is not a setting.",
                hint=f"Allowed here: {', '.join(sorted(known))}.",
            )


def _of_type(value: Any, kind: Any, name: str) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        words = {str: "a text in quotes", bool: "true or false"}.get(kind, "a number")
        raise SettingsError(f"audit.toml: {name} should be {words}.")
    return value


def _cycle(said: dict[str, Any]) -> Cycle:
    _refuse_unknown(said, {"name", "from", "to"}, "cycle.")
    name = _of_type(said.get("name", ""), str, "cycle.name")
    days = [said.get("from"), said.get("to")]
    for day in days:
        if not isinstance(day, date) or isinstance(day, datetime):
            raise SettingsError(
                f"audit.toml: the cycle {name!r} needs from and to.",
                hint="Write days without quotes, such as from = 2026-01-01.",
            )
    if days[0] > days[1]:  # type: ignore[operator]
        raise SettingsError(f"audit.toml: the cycle {name!r} ends before it begins.")
    return Cycle(name, days[0], days[1])


SETTINGS_TEXT = """\
# Settings of this audit. Lines that begin with # say nothing to the program.

[audit]
audit_id = "{audit_id}"        # names the key of this audit; leave it as it is
title = "Two-implant lower overdentures"
lead = "{lead}"                      # who is responsible; goes into the record of changes
# key_file = "..."             # where the key is kept, if not in your own profile

[summary]
merge_sources = false          # true: figures from different sources may share one mean
depth_margin_mm = 2.0          # deeper than planned by more than this: told to the treating clinician

# Where every plan follows one rule and is not written down case by case, the rule may fill
# the gap; what it fills is marked. Off unless you take the # away:
# [plan]
# site_rule_mm = 8.0           # each site so far from the midline, on cast readings
# axis_rule = "surveyor"       # both axes square to the occlusal plane, on readings of the pair

# Published figures that are pooled beside a comparison are those of its set. To pool others,
# name them by their keys (plumbpost show DIR summarised.published_matches); what cannot be
# pooled is listed on the clinic review with its reason. No verdict changes by it:
# [pool]
# keys = ["first_key", "second_key", "third_key"]

{own_limits}
# An audit cycle picks the cases operated between two days (both included):
# [[cycle]]
# name = "2026 first half"
# from = 2026-01-01
# to = 2026-06-30
"""


def settings_text(audit_id: str, lead: str) -> str:
    """Return the audit.toml of a new audit."""
    return SETTINGS_TEXT.format(
        audit_id=audit_id, lead=lead, own_limits=own_limits.SETTINGS_TEXT
    )

"""The audit folder: its files, its settings, its key, its lock."""

from __future__ import annotations

import os
import secrets
import shutil
import sys
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from pipeline import own_limits
from pipeline.errors import Busy, FolderNotEmpty, KeyProblem, NotAnAudit, SettingsError

SETTINGS_FILE = "audit.toml"
SUB_FOLDERS = ("records", "layouts", "to_correct", "reports", "tmp")
HOME_VARIABLE = "PLUMBPOST_HOME"
"""Where keys are kept when it is not the user's own profile."""


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
        superimposing: how uncertain a superimposition may be.
        room: what a later implant would need.
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
    superimposing: own_limits.Superimposing
    room: own_limits.Room
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


@dataclass(frozen=True, slots=True)
class Audit:
    """An audit folder."""

    folder: Path

    @property
    def records_folder(self) -> Path:
        """Where the clinic puts its files."""
        return self.folder / "records"

    @property
    def layouts_folder(self) -> Path:
        """How sheets that are not ours map onto ours."""
        return self.folder / "layouts"

    @property
    def to_correct_folder(self) -> Path:
        """Where workbooks of rows to correct are written, and read back."""
        return self.folder / "to_correct"

    @property
    def records_file(self) -> Path:
        """Rows as received: the file to back up."""
        return self.folder / "records.duckdb"

    @property
    def audit_file(self) -> Path:
        """Everything computed; made again by each run."""
        return self.folder / "audit.duckdb"

    @property
    def new_audit_file(self) -> Path:
        """The audit file while it is being made."""
        return self.folder / "audit.duckdb.new"

    @property
    def tmp(self) -> Path:
        """Scratch space inside the folder."""
        return self.folder / "tmp"

    @property
    def reports_folder(self) -> Path:
        """Where reports are written."""
        return self.folder / "reports"

    def settings(self) -> Settings:
        """Read audit.toml.

        Raises:
            SettingsError: it cannot be read or says something that cannot be followed.
        """
        try:
            with (self.folder / SETTINGS_FILE).open("rb") as handle:
                said = tomllib.load(handle)
        except tomllib.TOMLDecodeError as error:
            raise SettingsError(
                f"audit.toml cannot be read: {error}.",
                hint="Mend that line, or copy the file from a new folder made by start.",
            ) from None
        return _settings(said)

    def empty_tmp(self) -> None:
        """Remove what an earlier run left in tmp/."""
        shutil.rmtree(self.tmp, ignore_errors=True)
        self.tmp.mkdir(mode=0o700, exist_ok=True)


def _settings(said: dict[str, Any]) -> Settings:
    of_limits = {limits.section for limits in own_limits.OwnLimits.__subclasses__()}
    _refuse_unknown(said, {"audit", "summary", "cycle", "plan", *of_limits}, "")
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
        superimposing=own_limits.Superimposing.read(said.get("superimposing", {})),
        room=own_limits.Room.read(said.get("room", {})),
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


def key_home() -> Path:
    """Return the folder for keys in the user's own profile."""
    chosen = os.environ.get(HOME_VARIABLE)
    if chosen:
        return Path(chosen)
    from platformdirs import user_data_path

    return user_data_path("plumbpost", appauthor=False)


def audit_around(file: Path) -> Audit | None:
    """Return the audit folder a file lies in, or the one one stands in; None for none."""
    places = [*file.resolve().parents, Path.cwd(), *Path.cwd().parents]
    for folder in places:
        if (folder / SETTINGS_FILE).is_file():
            return Audit(folder)
    return None


def open_folder(folder: Path) -> Audit:
    """Return the audit in a folder.

    Raises:
        NotAnAudit: there is no audit.toml in it.
    """
    folder = folder.resolve()
    if not (folder / SETTINGS_FILE).is_file():
        raise NotAnAudit(
            f"{folder} is not an audit folder: it holds no {SETTINGS_FILE}.",
            hint=f"Make one with: plumbpost start {folder.name}",
        )
    os.umask(0o077)
    for name in SUB_FOLDERS:
        (folder / name).mkdir(mode=0o700, exist_ok=True)
    return Audit(folder)


def create_folder(folder: Path, *, lead: str = "") -> Audit:
    """Make a new audit folder with its settings and its key.

    Args:
        folder: the new folder.
        lead: who leads the audit, as the settings keep it.

    Raises:
        FolderNotEmpty: something is there already.
    """
    folder = folder.resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FolderNotEmpty(
            f"{folder} is there already and is not empty.",
            hint="Choose a new name; start never writes over anything.",
        )
    os.umask(0o077)
    for name in SUB_FOLDERS:
        (folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)
    audit_id = datetime.now(UTC).strftime("%Y%m%d-") + secrets.token_hex(4)
    _write_new(folder / SETTINGS_FILE, _settings_text(audit_id, lead))
    _write_new(folder / "actions.csv", "action,role,due_date,done_date\n")
    _write_new(folder / "requirements.csv", "requirement,role,guidance,cases\n")
    _write_new(folder / "criteria.csv", _criteria_text())
    audit = Audit(folder)
    make_key(audit.settings())
    return audit


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

{own_limits}
# An audit cycle picks the cases operated between two days (both included):
# [[cycle]]
# name = "2026 first half"
# from = 2026-01-01
# to = 2026-06-30
"""


def _settings_text(audit_id: str, lead: str) -> str:
    return SETTINGS_TEXT.format(
        audit_id=audit_id, lead=lead, own_limits=own_limits.SETTINGS_TEXT
    )


def _criteria_text() -> str:
    from pipeline.reference import load

    head = "criterion,measure,limit,target_percent,group_by,group_value,exceptions,signed_by,signed_date\n"
    lines = []
    for row in load.rows("criteria_examples"):
        name = f"Example: {row['criterion']}"
        lines.append(
            f'"{name}",{row["measure"]},{row["limit"]},{row["target_percent"]},'
            f'{row["group_by"]},{row["group_value"]},"{row["exceptions"]}",,\n'
        )
    return head + "".join(lines)


def _write_new(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="") as handle:
        handle.write(text)


def make_key(settings: Settings) -> None:
    """Make the key of a new audit; never a second one.

    Raises:
        KeyProblem: there is a key already, or the folder cannot be written.
    """
    path = settings.key_file
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise KeyProblem(
            f"There is a key at {path} already.", hint="It is kept as it is."
        ) from None
    except OSError as error:
        raise KeyProblem(
            f"The key cannot be written to {path}: {error.strerror}.",
            hint=f"Set {HOME_VARIABLE} to a folder of your own.",
        ) from None
    with os.fdopen(handle, "w", encoding="ascii") as stream:
        stream.write(secrets.token_hex(32) + "\n")


def read_key(settings: Settings) -> bytes:
    """Return the key that makes the codes.

    Raises:
        KeyProblem: it is not there or cannot be read. No second key is made, or
            the same patient would get two codes.
    """
    try:
        text = settings.key_file.read_text(encoding="ascii").strip()
        key = bytes.fromhex(text)
    except (OSError, ValueError):
        raise KeyProblem(
            f"The key of this audit is missing or unreadable: {settings.key_file}.",
            hint="Copy it back from your backup, or set key_file in audit.toml to where it is. "
            "Without it no new rows can be loaded; what was loaded can still be shown.",
        ) from None
    if len(key) < 16:
        raise KeyProblem(
            f"The key at {settings.key_file} is too short to be one of ours."
        )
    return key


@contextmanager
def locked(audit: Audit, command: str) -> Iterator[None]:
    """Let one command at a time change the audit.

    Raises:
        Busy: another command is at work; says which, and since when.
    """
    import filelock

    note = audit.folder / "audit.lock.txt"
    lock = filelock.FileLock(audit.folder / "audit.lock")
    try:
        lock.acquire(timeout=0)
    except filelock.Timeout:
        who = (
            note.read_text(encoding="utf-8").strip()
            if note.exists()
            else "another command"
        )
        raise Busy(
            f"This audit is in use: {who}.",
            hint="Wait until it has ended. A command that was killed leaves no lock behind.",
        ) from None
    try:
        since = datetime.now().astimezone().strftime("%Y-%m-%d %H:%M")
        note.write_text(
            f"{command}, process {os.getpid()}, since {since}", encoding="utf-8"
        )
        yield
    finally:
        note.unlink(missing_ok=True)
        lock.release()


def warn_of_shared_place(folder: Path) -> str:
    """Return a caution when the folder looks synchronised or on a network, else ''."""
    words = ("cloud", "sync", "drive", "shared")
    text = str(folder).lower()
    is_network = sys.platform == "win32" and text.startswith("\\\\")
    if is_network or any(word in text for word in words):
        return (
            "This folder looks synchronised or on a network. Its databases are damaged when two "
            "computers write them; keep the audit on a local, encrypted disk."
        )
    return ""

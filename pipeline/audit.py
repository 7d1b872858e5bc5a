"""The audit folder: its files and its lock."""

from __future__ import annotations

import os
import secrets
import shutil
import sys
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import Busy, FolderNotEmpty, NotAnAudit, SettingsError
from pipeline.keys import make_key
from pipeline.settings import Settings, settings_from, settings_text

SETTINGS_FILE = "audit.toml"
SUB_FOLDERS = ("records", "layouts", "to_correct", "reports", "tmp")


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
    def pooled_folder(self) -> Path:
        """The exports of several centres that a pooled audit is made of."""
        return self.folder / "pooled"

    @property
    def is_pooled(self) -> bool:
        """The audit is made of exports, not of records."""
        return self.pooled_folder.is_dir()

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
        return settings_from(said)

    def empty_tmp(self) -> None:
        """Remove what an earlier run left in tmp/."""
        shutil.rmtree(self.tmp, ignore_errors=True)
        self.tmp.mkdir(mode=0o700, exist_ok=True)


def audit_around(file: Path) -> Audit | None:
    """Return the audit folder a file lies in, or the one one stands in; None for none."""
    places = [*file.resolve().parents, Path.cwd(), *Path.cwd().parents]
    for folder in places:
        if (folder / SETTINGS_FILE).is_file():
            return Audit(folder)
    return None


def existing_folder(folder: Path) -> Audit:
    """Return the audit in a folder, to read from; nothing is made.

    Raises:
        NotAnAudit: there is no audit.toml in it.
    """
    folder = folder.resolve()
    if not (folder / SETTINGS_FILE).is_file():
        raise NotAnAudit(
            f"{folder} is not an audit folder: it holds no {SETTINGS_FILE}.",
            hint=f"Make one with: plumbpost start {folder.name}",
        )
    return Audit(folder)


def open_folder(folder: Path) -> Audit:
    """Return the audit in a folder, to work in; what this process writes is the owner's.

    Raises:
        NotAnAudit: there is no audit.toml in it.
    """
    audit = existing_folder(folder)
    os.umask(0o077)
    for name in SUB_FOLDERS:
        (audit.folder / name).mkdir(mode=0o700, exist_ok=True)
    return audit


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
            hint="Choose a new name; nothing is ever written over.",
        )
    os.umask(0o077)
    for name in SUB_FOLDERS:
        (folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)
    audit_id = datetime.now(UTC).strftime("%Y%m%d-") + secrets.token_hex(4)
    _write_new(folder / SETTINGS_FILE, settings_text(audit_id, lead))
    _write_new(folder / "actions.csv", "action,role,due_date,done_date\n")
    _write_new(folder / "requirements.csv", "requirement,role,guidance,cases\n")
    _write_new(
        folder / "comparisons.csv",
        "comparison,group_by,new,usual,measure,margin,chosen_by,chosen_date\n",
    )
    _write_new(folder / "criteria.csv", _criteria_text())
    audit = Audit(folder)
    make_key(audit.settings().key_file)
    return audit


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

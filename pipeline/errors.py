"""What can go wrong by a user's hand: one class a kind, one sentence, one exit code.

Everything else is a fault of ours and crashes loudly.
"""

from __future__ import annotations

from typing import ClassVar

EXIT_DONE = 0
EXIT_SET_ASIDE = 1
EXIT_USAGE = 2
EXIT_NOTHING_READ = 3
EXIT_BUSY = 4
EXIT_INTERRUPTED = 130


class UserError(Exception):
    """A mistake the person at the keyboard can mend; shown without a traceback.

    Args:
        sentence: what is wrong, naming file, sheet, row and column where known.
        hint: what to do about it.
    """

    exit_code: ClassVar[int] = EXIT_USAGE

    def __init__(self, sentence: str, *, hint: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.sentence}\n  hint: {self.hint}" if self.hint else self.sentence


class NotAnAudit(UserError):
    """The folder named is not an audit folder."""


class SettingsError(UserError):
    """audit.toml or criteria.csv says something that cannot be followed."""


class LayoutError(UserError):
    """A file in layouts/ says something that cannot be followed."""


class NoPlaceForLayout(UserError):
    """A layout was to be written, but no audit folder is near."""


class KeyProblem(UserError):
    """The key that makes the codes is missing, unreadable or another one."""


class NoSuchTable(UserError):
    """A table was asked for that this audit does not hold."""


class NothingFrozen(UserError):
    """A frozen run was asked for, but none was written."""


class NotAsFrozen(UserError):
    """Records, settings or software are not those of the frozen run."""


class NotPublishedFigures(UserError):
    """A file named as a table of published figures is not one."""


class NoSuchTrainee(UserError):
    """A page was asked for a trainee this audit does not know."""


class NoSuchFinding(UserError):
    """A finding was named that the last check did not have."""


class NotAnswerable(UserError):
    """A finding that a command cannot answer, or not any more."""


class FolderNotEmpty(UserError):
    """A new audit was asked for where something already is."""


class ExportPlace(UserError):
    """A data set was to be written where it may not stand."""


class TooFewToShare(UserError):
    """Totals were asked for of too few patients."""


class NotAnExport(UserError):
    """A folder named as an export is none, is damaged, or was made by another version."""


class CannotPool(UserError):
    """Exports that may not stand in one audit together."""


class UnreadableFile(UserError):
    """A file in records/ could not be read; the other files are."""

    exit_code = EXIT_NOTHING_READ


class UnreadableSheet(UnreadableFile):
    """A sheet inside a file could not be read."""


class LayoutNotConfirmed(UnreadableSheet):
    """A layout fits, but what a person must confirm is still open."""


class NothingToRead(UserError):
    """records/ holds no file that could be read."""

    exit_code = EXIT_NOTHING_READ


class Busy(UserError):
    """Another run has the audit open."""

    exit_code = EXIT_BUSY


class DamagedFile(UserError):
    """A database file of the audit is damaged or not ours."""

    exit_code = EXIT_BUSY


class DiskFull(UserError):
    """There was no room to write."""

    exit_code = EXIT_BUSY

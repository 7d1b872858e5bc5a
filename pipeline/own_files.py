"""The audit's own csv files: criteria, actions, requirements, comparisons.

Small tables a clinic fills in by hand beside audit.toml; each is read whole and refused
with the row that cannot be followed.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Final

from pipeline.audit import Audit
from pipeline.errors import SettingsError
from pipeline.reference import load
from pipeline.reference.own_csv import reader_of

OWN_FILES: Final[Mapping[str, tuple[str, ...]]] = {
    "criteria": (
        "criterion",
        "measure",
        "limit",
        "target_percent",
        "group_by",
        "group_value",
        "exceptions",
        "signed_by",
        "signed_date",
    ),
    "actions": ("action", "role", "due_date", "done_date"),
    "requirements": ("requirement", "role", "guidance", "cases"),
    "comparisons": (
        "comparison",
        "group_by",
        "new",
        "usual",
        "measure",
        "margin",
        "chosen_by",
        "chosen_date",
    ),
}
"""Columns of each file, by its name without the ending; the tables of `reference` they fill."""

REQUIRED_ROLES = ("own", "finished", "assisted")


def read_own_files(audit: Audit) -> dict[str, list[dict[str, str]]]:
    """Return the rows of every file, by its name.

    Raises:
        SettingsError: a row cannot be followed.
    """
    return {
        "criteria": read_criteria(audit),
        "actions": _read(audit, "actions"),
        "requirements": read_requirements(audit),
        "comparisons": read_comparisons(audit),
    }


def read_criteria(audit: Audit) -> list[dict[str, str]]:
    """Read criteria.csv of the audit.

    Raises:
        SettingsError: a row names an unknown measure or group, or a limit that is
            no number; says which row and what is allowed.
    """
    rows = _read(audit, "criteria")
    known = [row["measure"] for row in load.rows("measures")]
    groups = _groups()
    for number, row in enumerate(rows, start=2):
        where = f"criteria.csv, row {number}"
        if row["measure"] not in known:
            raise SettingsError(
                f"{where}: {row['measure']!r} is not a measure.",
                hint=f"Allowed: {', '.join(known)}.",
            )
        if row["group_by"] not in {"", "overall", *groups}:
            raise SettingsError(
                f"{where}: group_by {row['group_by']!r} is not a group.",
                hint=f"Leave it empty, or one of: {', '.join(groups)}.",
            )
        _refuse_not_a_number(row, "limit", where, is_needed=True)
        _refuse_not_a_number(row, "target_percent", where, is_needed=False)
    return rows


def read_requirements(audit: Audit) -> list[dict[str, str]]:
    """Read requirements.csv of the audit: how many cases a programme asks of a trainee.

    Raises:
        SettingsError: a row asks for a part or a guidance that is not known, or for a
            number of cases that is no whole number; says which row and what is allowed.
    """
    rows = _read(audit, "requirements")
    allowed = {
        "role": REQUIRED_ROLES,
        "guidance": {field.field: field for field in load.fields("cases")}[
            "guidance"
        ].codes,
    }
    for number, row in enumerate(rows, start=2):
        where = f"requirements.csv, row {number}"
        for name, words in allowed.items():
            if row[name] not in {"", *words}:
                raise SettingsError(
                    f"{where}: {name} {row[name]!r} is not known.",
                    hint=f"Leave it empty, or one of: {', '.join(words)}.",
                )
        if not row["cases"].isdecimal() or not int(row["cases"]):
            raise SettingsError(f"{where}: cases should be a whole number above 0.")
    return rows


def read_comparisons(audit: Audit) -> list[dict[str, str]]:
    """Read comparisons.csv of the audit: what is to be shown as good as what, by how much.

    Raises:
        SettingsError: a row names an unknown measure or group, a margin that is no number
            above 0, or a day that is none; says which row and what is allowed.
    """
    rows = _read(audit, "comparisons")
    for number, row in enumerate(rows, start=2):
        where = f"comparisons.csv, row {number}"
        _refuse_unknown(row, "measure", _errors(), where)
        _refuse_unknown(row, "group_by", _groups(), where)
        _refuse_not_a_number(row, "margin", where, is_needed=True)
        if not float(row["margin"]):
            raise SettingsError(f"{where}: margin should be above 0.")
        if row["chosen_date"]:
            _refuse_no_day(row["chosen_date"], where)
    return rows


def _errors() -> list[str]:
    return [row["measure"] for row in load.rows("measures") if row["kind"] == "error"]


def _groups() -> list[str]:
    return [row["column"] for row in load.rows("groupings") if row["column"]]


def _refuse_unknown(
    row: Mapping[str, str], name: str, allowed: list[str], where: str
) -> None:
    if row[name] not in allowed:
        raise SettingsError(
            f"{where}: {name} {row[name]!r} is not known.",
            hint=f"Allowed: {', '.join(allowed)}.",
        )


def _refuse_no_day(text: str, where: str) -> None:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise SettingsError(
            f"{where}: chosen_date {text!r} is no day.",
            hint="Write it as year-month-day, such as 2026-01-31.",
        ) from None


def _refuse_not_a_number(
    row: Mapping[str, str], name: str, where: str, *, is_needed: bool
) -> None:
    text = row[name]
    if not text and not is_needed:
        return
    try:
        is_fine = float(text) >= 0
    except ValueError:
        is_fine = False
    if not is_fine:
        raise SettingsError(
            f"{where}: {name} should be a number of 0 or more, with a point for decimals."
        )


def _read(audit: Audit, name: str) -> list[dict[str, str]]:
    """Read one of the audit's own csv files, ; or , between cells."""
    path, columns = audit.folder / f"{name}.csv", OWN_FILES[name]
    if not path.exists():
        return []
    reader = reader_of(path.read_text(encoding="utf-8-sig"))
    missing = [name for name in columns if name not in (reader.fieldnames or [])]
    if missing:
        raise SettingsError(
            f"{path.name} has no column {', '.join(missing)}.",
            hint=f"Its heading row should read: {','.join(columns)}",
        )
    return [
        {name: (row[name] or "").strip() for name in columns}
        for row in reader
        if any((row[name] or "").strip() for name in columns)
    ]

"""Which tabs and columns the workbook of a new audit has, and in which order.

Nothing here knows how a workbook is drawn: the same order serves the printed
forms. What belongs together is a table, ``reference/record_kinds.csv``; the
fields themselves are ``reference/fields.csv``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.errors import UserError
from pipeline.reference import load


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a tab.

    Attributes:
        field: the field it holds; its name is the heading.
        is_folded: out of sight until the fold beside the column before is opened.
        folds: on a visible column, the headings folded away right behind it.
    """

    field: load.Field
    is_folded: bool
    folds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tab:
    """One tab of the workbook, named as its record sheet.

    Attributes:
        sheet: the record sheet.
        is_needed: at least one of the kinds asked for cannot do without it.
        meaning: what one row of it holds.
        columns: its columns from left to right.
    """

    sheet: str
    is_needed: bool
    meaning: str
    columns: tuple[Column, ...]


def record_kinds() -> tuple[str, ...]:
    """Return the record kinds that can be asked for, in the order of their table."""
    return tuple(dict.fromkeys(row["record_kind"] for row in load.rows("record_kinds")))


def kind_rows(kinds: Sequence[str]) -> tuple[dict[str, str], ...]:
    """Return the rows of ``record_kinds.csv`` that belong to these kinds, in tab order.

    Args:
        kinds: record kinds, such as ``cast``; a repeated one counts once.

    Returns:
        One row per kind and sheet, sheets of the same order next to each other.

    Raises:
        UserError: no kind was named, or one that does not exist.
    """
    allowed = record_kinds()
    unknown = [kind for kind in kinds if kind not in allowed]
    if unknown or not kinds:
        named = f"the record kind {unknown[0]!r} is not known" if unknown else ""
        raise UserError(
            named or "no record kind was named",
            hint=f"name one or more of {', '.join(allowed)}, with commas between",
        )
    wanted = (row for row in load.rows("record_kinds") if row["record_kind"] in kinds)
    return tuple(sorted(wanted, key=lambda row: int(row["order"])))


def tabs(kinds: Sequence[str]) -> tuple[Tab, ...]:
    """Return the tabs these record kinds ask for, each once, in their order.

    Args:
        kinds: record kinds, such as ``cast`` and ``follow_up``.

    Returns:
        The tabs; a column that is in everyday use for one kind is not folded.

    Raises:
        UserError: no kind was named, or one that does not exist.
    """
    rows_of: dict[str, list[dict[str, str]]] = {}
    for row in kind_rows(kinds):
        rows_of.setdefault(row["sheet"], []).append(row)
    return tuple(
        Tab(
            sheet=sheet,
            is_needed=any(row["is_needed"] == "yes" for row in rows),
            meaning="; ".join(dict.fromkeys(row["meaning"] for row in rows)),
            columns=columns(
                sheet, {name for row in rows for name in row["everyday"].split("|")}
            ),
        )
        for sheet, rows in rows_of.items()
    )


def columns(sheet: str, everyday: set[str]) -> tuple[Column, ...]:
    """Return the columns of a sheet: required ones, then group by group.

    Spreadsheets join neighbouring folds into one, so every group keeps a visible
    column in front of its fold: its everyday fields, or its first field when it
    has none. What a person sees first is therefore the required fields, the
    everyday ones and one handle for each remaining group.

    Args:
        sheet: a record sheet.
        everyday: names of its fields that are not to be folded away.
    """
    every_field = load.fields(sheet)
    required = [field for field in every_field if field.is_required]
    groups: dict[str, list[load.Field]] = {}
    for field in every_field:
        if not field.is_required:
            groups.setdefault(field.column_group, []).append(field)
    placed = [Column(field, is_folded=False) for field in required]
    for group in groups.values():
        placed.extend(_one_group(group, everyday))
    return tuple(placed)


def _one_group(group: list[load.Field], everyday: set[str]) -> list[Column]:
    """Return a group's everyday fields (or its first), then its folded rest."""
    shown = [field for field in group if field.field in everyday] or group[:1]
    rest = [field for field in group if field not in shown]
    handle = Column(
        shown[-1], is_folded=False, folds=tuple(field.field for field in rest)
    )
    return [
        *(Column(field, is_folded=False) for field in shown[:-1]),
        handle,
        *(Column(field, is_folded=True) for field in rest),
    ]


def example_rows(sheet: str) -> tuple[dict[str, str], ...]:
    """Return the invented example rows of a sheet, as text by field name.

    They come from ``reference/example_rows.csv``: one invented clinic with one
    case at the lateral incisor sites (8 mm each side of the midline), one at the
    canine sites (11 mm) and one that is still being planned.
    """
    by_number: dict[str, dict[str, str]] = {}
    for row in load.rows("example_rows"):
        if row["sheet"] == sheet:
            by_number.setdefault(row["row"], {})[row["field"]] = row["value"]
    return tuple(by_number.values())

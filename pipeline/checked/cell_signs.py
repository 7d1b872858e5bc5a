"""checked.cell_signs: cells that can be read, and should be looked at all the same.

A count of days where millimetres belong, signs that were made plain on the way in, what
looks like a name or an address in a note. Only cells with such a sign have a row.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.records.meshes import MESHES
from pipeline.records.registration_files import REGISTRATIONS
from pipeline.reference import load
from pipeline.reference.load import Field
from pipeline.staged.problems import staged_name
from pipeline.tables import makes
from pipeline.warehouse import Warehouse, named, quoted

FIRST_SERIAL, LAST_SERIAL = 30_000, 79_999
"""A spreadsheet's count of days in 1982 and 2119; no length or angle is so large."""

STRAY = r"[^\x00-\x7F½⅓⅔¼¾⅛⅜⅝⅞]"
"""Characters that are made plain before a figure or a day is read: the minus sign, spaces
that do not break, marks of another alphabet. Figures and days need none of them but the
signs of fractions."""

E_MAIL = r"[\w.+-]+@[\w-]+\.\w{2,}"
TELEPHONE = r"(^|[^\d.])(\+|0)\d{1,4}[ \-/().]*\d{2,}([ \-/.]*\d{2,}){2,}"
BIRTH = r"(?i:\b(born|dob|d\.o\.b|date of birth|geb(oren)?|née?)\b\.?).*\d"
TITLED = r"\b(?i:mrs?|ms|miss|dr|prof|herr|frau|mme|sra?)\.? +\p{Lu}\p{Ll}+"
PATH = r"\b[A-Za-z]:\\|\\\\\w|(?i:/(users|home|volumes|mnt)/)"
FILE = r"(?i:\.(jpe?g|png|tiff?|dcm|pdf|docx?|xlsx?|stl|heic)\b)"
PERSON = "|".join(f"({part})" for part in (E_MAIL, TELEPHONE, BIRTH, TITLED, PATH))
IDENTIFIER = f"{PERSON}|({FILE})"
"""What gives a person away in free text, or leads to a file that may."""

_NO_SIGNS = """create or replace table checked.cell_signs (row_id bigint, sheet varchar,
    field varchar, as_written varchar, problem varchar)"""

FILE_FIELDS = frozenset({*MESHES.fields, *REGISTRATIONS.fields})
"""Fields whose cells are the names of files."""

SHEETS = tuple(load.sheets())


@makes(
    "checked.cell_signs",
    reads=tuple(
        f"{state}.{sheet}" for sheet in SHEETS for state in ("staged", "records")
    ),
)
def make_cell_signs(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make checked.cell_signs. Grain: row_id, field, problem."""
    warehouse.run("create schema if not exists checked")
    warehouse.run(_NO_SIGNS)
    for sheet in SHEETS:
        signs = _signs_of(sheet)
        warehouse.run(
            f"""create or replace temp table signed as
            select r.* from records.{named(sheet)} as r
            inner join staged.{named(sheet)} as s on r.row_id = s.row_id
            where {_any_sign(sheet)}"""
        )
        if warehouse.value("select count(*) from signed"):
            for field, problem, condition in signs:
                warehouse.run(
                    f"""insert into checked.cell_signs
                    select r.row_id, {quoted(sheet)}, {quoted(field.field)},
                        r.{named(field.field)}, {quoted(problem)}
                    from signed as r
                    inner join staged.{named(sheet)} as s on r.row_id = s.row_id
                    where {condition}"""
                )
        warehouse.run("drop table signed")


def _is_figure(field: Field) -> bool:
    return field.kind in {"number", "whole"}


def _is_free_text(field: Field) -> bool:
    """Tell whether people write what they like; a mesh is named by its file's path."""
    is_path = field.field.endswith("_mesh")
    return field.kind == "text" and not field.identity and not is_path


def _any_sign(sheet: str) -> str:
    """Return SQL that is true for a row with any sign, quickly: most rows have none."""
    fields = load.fields(sheet)
    figures = [f"s.{named(f.field)}" for f in fields if _is_figure(f)]
    plain = [f"r.{named(f.field)}" for f in fields if _is_figure(f) or f.kind == "date"]
    texts = [f"r.{named(f.field)}" for f in fields if _is_free_text(f)]
    found = []
    if figures:
        found.append(f"greatest({', '.join(figures)}) >= {FIRST_SERIAL}")
    if plain:
        joined = f"concat({', '.join(plain)})"
        found.append(f"strlen({joined}) <> length({joined})")
    if texts:
        found.append(
            f"regexp_matches(concat_ws(' | ', {', '.join(texts)}), {quoted(IDENTIFIER)})"
        )
    return " or ".join(found) or "false"


def _signs_of(sheet: str) -> list[tuple[Field, str, str]]:
    """Return (field, problem, SQL that is true for a cell with it)."""
    found = []
    for field in load.fields(sheet):
        raw, read = f"r.{named(field.field)}", f"s.{named(staged_name(field))}"
        if _is_figure(field):
            is_day = f"{read} between {FIRST_SERIAL} and {LAST_SERIAL} and {read} = floor({read})"
            found.append((field, "day_number", is_day))
        if _is_figure(field) or field.kind == "date":
            stray = f"{read} is not null and regexp_matches({raw}, {quoted(STRAY)})"
            found.append((field, "stray_characters", stray))
        if _is_free_text(field):
            pattern = PERSON if field.field in FILE_FIELDS else IDENTIFIER
            gives_away = f"regexp_matches({raw}, {quoted(pattern)})"
            found.append((field, "identifier_in_text", gives_away))
    return found

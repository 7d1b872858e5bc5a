"""What fills one field: a column and how it is written, or always the same value."""

from __future__ import annotations

from dataclasses import replace

from pipeline.records.days import ISO, ORDERS, is_certain_day
from pipeline.records.layout_model import Source, same_heading
from pipeline.records.layout_said import OPEN, Said
from pipeline.records.numbers_written import (
    DECIMAL_SIGNS,
    THOUSANDS_SIGNS,
    looks_read,
)
from pipeline.records.site_notation import ENDS, LETTERS, NOTATIONS, fdi_of
from pipeline.records.units import units
from pipeline.reference.load import Field

FAMILIES = {"mm": "length", "deg": "angle"}
SIGNS = ("as_ours", "reversed")
RANGES = ("as_written", "middle")
YES_NO = ("yes", "no")
PLACES = ("site", "side", "tooth")


def source_of(said: Said, field: Field, decimal: str, thousands: str) -> Source:
    """Return what a field is filled from.

    Args:
        said: the [rows.fields] table.
        field: the field.
        decimal: the layout's decimal sign, where the field has none of its own.
        thousands: the layout's thousands sign.

    Raises:
        LayoutError: a key does not go with this kind of field.
    """
    if isinstance(said.values[field.field], str):
        heading = said.text(field.field)
        return Source(heading, decimal_sign=decimal, thousands_sign=thousands)
    one = said.table(field.field)
    if one is None:  # pragma: no cover - the caller goes through the keys there are
        raise said.wrong(field.field, "is missing.")
    if "always" in one:
        source = Source(always=value_of(one, field, one.text("always", OPEN)))
        one.done()
        return source
    heading = one.text("heading")
    if not heading and one.values.get("heading") != OPEN:
        raise one.wrong("heading", "is missing; or write always.")
    source = Source(heading, pattern=one.pattern("pattern", groups=1))
    source = replace(source, words=_words(one, field))
    if field.kind == "date":
        order = one.choice("date_order", ORDERS, ISO)
        source = replace(source, date_order=order)
    if field.kind in {"number", "whole"}:
        source = _with_figures(source, one, field, decimal, thousands)
    if field.field in PLACES:
        source = _with_notation(source, one, field)
    one.done()
    return source


def _with_figures(
    source: Source, said: Said, field: Field, decimal: str, thousands: str
) -> Source:
    return replace(
        source,
        unit=_unit(said, field),
        decimal_sign=said.choice("decimal_sign", DECIMAL_SIGNS, decimal),
        thousands_sign=said.choice("thousands_sign", THOUSANDS_SIGNS, thousands),
        is_reversed=said.choice("sign", SIGNS, SIGNS[0]) == "reversed",
        is_range_read=said.choice("range", RANGES, RANGES[0]) == "middle",
        decimals_in=said.text("decimals_in"),
    )


def _unit(said: Said, field: Field) -> str:
    family = FAMILIES.get(field.unit)
    fitting = [unit.name for unit in units().values() if family in {None, unit.family}]
    unit = said.choice("unit", fitting, "")
    if unit and field.unit and family is None:
        raise said.wrong("unit", f"does not go with {field.field}, which has none.")
    return unit


def _with_notation(source: Source, said: Said, field: Field) -> Source:
    """Say how a place in the jaw is written."""
    notation = said.choice("notation", NOTATIONS, "")
    first = said.choice("first_letter", ENDS, "")
    if notation == LETTERS and not first and said.values.get("first_letter") != OPEN:
        raise said.wrong(
            "first_letter",
            "is missing: at which end of the jaw does A stand?",
            f"Allowed: {', '.join(ENDS)} (the patient's own).",
        )
    if notation == LETTERS and field.field == "tooth":
        raise said.wrong(
            "notation", "is letters, which are no tooth numbers.", "Fill side or site."
        )
    return replace(source, notation=notation, first_letter=first)


def _words(said: Said, field: Field) -> dict[str, str] | None:
    table = said.table("words")
    if table is None:
        return None
    if field.kind not in {"code", "yes_no", "text"}:
        raise said.wrong("words", f"does not go with {field.field}, a {field.kind}.")
    words = {}
    for theirs in table.values:
        ours = table.text(theirs, OPEN)
        words[same_heading(theirs)] = value_of(table, field, ours, key=theirs)
    return words


def value_of(said: Said, field: Field, text: str, *, key: str = "") -> str:
    """Return a value of ours as a layout gives it; '' says that there is none.

    Raises:
        LayoutError: the field cannot hold it; what it can hold is named.
    """
    if not text or text == OPEN:
        return ""
    wrong = _refusal(field, text)
    if wrong:
        at = f'"{key}"' if key else ("always" if "always" in said else field.field)
        raise said.wrong(at, f"is {text!r}; {field.field} {wrong}")
    return text


def _refusal(field: Field, text: str) -> str:
    """Return what a field can hold, where it cannot hold a value; else ''."""
    if field.field == "tooth":
        fits, allowed = fdi_of(text, "fdi") is not None, "an FDI number such as 33"
    else:
        fits, allowed = {
            "code": (text in field.codes, f"one of: {', '.join(field.codes)}"),
            "yes_no": (text in YES_NO, "yes or no"),
            "date": (
                text[:4].isdigit() and is_certain_day(text),
                "a day such as 2026-03-31",
            ),
            "number": (looks_read(text), "a number with a decimal point"),
            "whole": (text.isdigit(), "a whole number"),
            "text": (True, ""),
        }[field.kind]
    return "" if fits else f"holds {allowed}."

"""The [[rows]] parts of a layout: fields, and what fills them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from pipeline.errors import LayoutError
from pipeline.records.axes import OURS, axes_named
from pipeline.records.headings import plain_heading
from pipeline.records.layout_model import (
    MOST_PARTS,
    Block,
    Part,
    Source,
    fields_by_name,
)
from pipeline.records.layout_said import OPEN, Said
from pipeline.records.layout_source import PLACES, source_of, value_of
from pipeline.reference import load
from pipeline.reference.load import Field

_MARK = re.compile(r"<[^<>]+>")


@dataclass(frozen=True, slots=True)
class Signs:
    """What a layout says of all its figures.

    Attributes:
        decimal: the decimal sign.
        thousands: the thousands sign; '' for none.
        axes: the axis convention of planned, achieved or all coordinates.
    """

    decimal: str
    thousands: str
    axes: Mapping[str, str]


def block_of(said: Said, signs: Signs) -> Block:
    """Return one [[rows]] part.

    Raises:
        LayoutError: it names an unknown sheet or field, or leaves out what every row
            of the sheet needs.
    """
    sheet = said.choice("sheet", load.sheets(), "")
    if not sheet:
        raise said.wrong(
            "sheet", "is missing.", f"Allowed: {', '.join(load.sheets())}."
        )
    fields = said.table("fields")
    if fields is None:
        raise said.wrong("fields", "is missing.")
    phrases_in = said.text("phrases")
    if phrases_in and sheet != "events":
        raise said.wrong("phrases", f"belongs to the sheet events, not to {sheet}.")
    sources = _sources(fields, sheet, signs)
    each = said.tables("each")
    parts = [_part(one, sheet, sources) for one in each] or [Part(sources)]
    _refuse_marks(said, sheet, parts, is_each=bool(each))
    parts = [_with_axes(part, signs.axes, fields) for part in parts]
    for part in parts:
        _refuse_missing(said, sheet, part, is_event_given=bool(phrases_in))
    is_distinct = said.flag("distinct")
    said.done()
    if len(parts) > MOST_PARTS:
        raise said.wrong("each", f"has more than {MOST_PARTS} parts.")
    return Block(sheet, tuple(parts), is_distinct, phrases_in)


def _sources(said: Said, sheet: str, signs: Signs) -> dict[str, Source]:
    sources = {}
    for name in said.values:
        field = _field(said, sheet, name)
        source = source_of(said, field, signs.decimal, signs.thousands)
        _refuse_identifying(said, field, source)
        sources[name] = source
    return sources


def _field(said: Said, sheet: str, name: str) -> Field:
    known = fields_by_name(sheet)
    if name in known:
        return known[name]
    close = difflib.get_close_matches(name, known, n=1)
    meant = f"Did you mean {close[0]}? " if close else ""
    raise said.wrong(
        name, f"is no field of {sheet}.", f"{meant}Its fields: {', '.join(known)}."
    )


def _refuse_identifying(said: Said, field: Field, source: Source) -> None:
    known = {row["word"]: row["what"] for row in load.rows("identifying_columns")}
    what = known.get(plain_heading(source.heading))
    if what and not field.identity:
        raise said.wrong(
            field.field,
            f"is filled from the column {source.heading!r}, which holds {what}.",
            "Such a column may only fill a field whose text is turned into a code.",
        )


def _part(said: Said, sheet: str, sources: Mapping[str, Source]) -> Part:
    """Return one part: its marks put in, its own values added."""
    marks = {key: said.text(key) for key in said.values if _MARK.fullmatch(key)}
    own = []
    filled: dict[str, Source] = {}
    for name, source in sources.items():
        filled[name] = _filled(source, marks, said)
        if _MARK.search(source.heading):
            own.append(filled[name].heading)
    for name in said.values:
        if name not in marks:
            field = _field(said, sheet, name)
            filled[name] = Source(always=value_of(said, field, said.text(name, OPEN)))
    said.done()
    return Part(filled, tuple(dict.fromkeys(own)))


def _filled(source: Source, marks: Mapping[str, str], said: Said) -> Source:
    def put(text: str) -> str:
        for mark, meant in marks.items():
            text = text.replace(mark, meant)
        return text

    pattern = source.pattern
    if pattern is not None and _MARK.search(pattern.pattern):
        pattern = said.compiled("pattern", put(pattern.pattern), groups=1)
    return replace(
        source,
        heading=put(source.heading),
        decimals_in=put(source.decimals_in),
        pattern=pattern,
    )


def _refuse_marks(
    said: Said, sheet: str, parts: Iterable[Part], *, is_each: bool
) -> None:
    for part in parts:
        for name, source in part.sources.items():
            left = _MARK.search(source.heading) or _MARK.search(source.decimals_in)
            if left:
                raise said.wrong(
                    f"fields.{name}",
                    f"holds the mark {left[0]}, which no part under each explains.",
                )
        if is_each and not part.own_headings:
            raise said.wrong(
                "each",
                f"gives several rows of {sheet}, but no heading holds a mark.",
                'Write the marks into the headings, such as "<site> angle", and what '
                'they stand for into each part: "<site>" = "33".',
            )


def _with_axes(part: Part, axes: Mapping[str, str], fields: Said) -> Part:
    """Return a part with every coordinate taken from where ours stands in theirs."""
    sources = dict(part.sources)
    for name in part.sources:
        stem = name.removesuffix("x_mm")
        if stem != name:
            state = stem.partition("_")[0]
            letters = axes.get(state) or axes.get("all", OURS)
            if letters != OURS:
                sources |= _turned(part, stem, letters, fields)
    return replace(part, sources=sources)


def _turned(part: Part, stem: str, letters: str, fields: Said) -> dict[str, Source]:
    names = [f"{stem}{axis}_mm" for axis in "xyz"]
    if any(name not in part.sources for name in names):
        raise _incomplete(fields, stem)
    turned = {}
    for name, axis in zip(names, axes_named(letters) or (), strict=True):
        theirs = part.sources[names[axis.place]]
        is_reversed = theirs.is_reversed != axis.is_reversed
        turned[name] = replace(theirs, is_reversed=is_reversed)
    return turned


def _incomplete(fields: Said, stem: str) -> LayoutError:
    return fields.wrong(
        f"{stem}x_mm",
        "stands without its y and z, so its axes cannot be turned.",
    )


def _refuse_missing(
    said: Said, sheet: str, part: Part, *, is_event_given: bool
) -> None:
    missing = [
        field
        for field in load.missing(sheet, part.sources)
        if not (is_event_given and field == "event")
    ]
    if missing:
        raise said.wrong(
            "fields",
            f"leaves out {', '.join(missing)}, which every row of {sheet} needs.",
            'A value that is always the same is written as { always = ".." }.',
        )
    known = fields_by_name(sheet)
    if "tooth" in known and not any(name in part.sources for name in PLACES):
        raise said.wrong(
            "fields", f"leaves out the place: {sheet} needs side or tooth."
        )

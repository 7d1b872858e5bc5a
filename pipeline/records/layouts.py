"""Read the layouts of an audit: TOML files that map someone else's sheet onto ours."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from pipeline.errors import LayoutError
from pipeline.records.axes import OURS, axes_named
from pipeline.records.layout_model import (
    SAME_TAB,
    Block,
    EventMeant,
    Join,
    Layout,
    RowChoice,
    fields_by_name,
    plain_phrase,
    same_heading,
)
from pipeline.records.layout_rows import Signs, block_of
from pipeline.records.layout_said import Said
from pipeline.records.numbers_written import DECIMAL_SIGNS, POINT, THOUSANDS_SIGNS
from pipeline.reference import load

MOST_HEADER_ROWS = 6
SIDES = ("left", "right", "both")


def layouts_in(folder: Path) -> tuple[Layout, ...]:
    """Read every layout of a folder, in the order of their names.

    Raises:
        LayoutError: one of them cannot be followed; none is used then, for a sheet
            could be taken for what it is not.
    """
    if not folder.is_dir():
        return ()
    return tuple(read_layout(path) for path in sorted(folder.glob("*.toml")))


def read_layout(path: Path) -> Layout:
    """Read one layout file."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise LayoutError(
            f"layouts/{path.name} cannot be opened: {error.strerror}."
        ) from None
    return layout_of(content, name=path.stem)


def layout_of(content: bytes, *, name: str) -> Layout:
    """Return the layout that the content of a file states.

    Args:
        content: the file.
        name: its name without .toml.

    Raises:
        LayoutError: naming the file, the key and what is allowed.
    """
    file = f"layouts/{name}.toml"
    try:
        values = tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LayoutError(
            f"{file} cannot be read: {error}.",
            hint="Texts stand in quotes, and a backslash in a pattern is best "
            "written between single quotes.",
        ) from None
    open_points: list[str] = []
    said = Said(file, "", values, open_points)
    layout = Layout(name, hashlib.sha256(content).hexdigest(), **_parts(said))
    said.done()
    return replace(layout, open_points=(*layout.open_points, *open_points))


def _parts(said: Said) -> dict[str, Any]:
    needs = said.texts("needs")
    if not needs:
        raise said.wrong(
            "needs",
            "names no heading.",
            "List the headings by which the sheet is known, such as "
            'needs = ["Case no", "Site"].',
        )
    signs = Signs(
        said.choice("decimal_sign", DECIMAL_SIGNS, POINT),
        said.choice("thousands_sign", THOUSANDS_SIGNS, ""),
        _axes(said),
    )
    if signs.thousands and signs.thousands == signs.decimal:
        raise said.wrong("thousands_sign", "is the decimal sign too.")
    joins = _joins(said)
    blocks = _blocks(said, signs)
    drop = said.texts("drop")
    _refuse_leaks(said, blocks, drop)
    return {
        "needs": needs,
        "tab": said.text("tab"),
        "files": said.texts("files"),
        "header_rows": said.whole("header_rows", 1, most=MOST_HEADER_ROWS),
        "fill_down": said.texts("fill_down"),
        "drop": drop,
        "skip": tuple(_row_choice(one) for one in said.tables("skip")),
        "joins": joins,
        "blocks": blocks,
        "phrases": _phrases(said, blocks),
        "open_points": said.texts("confirm"),
    }


def _axes(said: Said) -> dict[str, str]:
    """Return the axis convention of all coordinates, or of planned and achieved ones."""
    if isinstance(said.values.get("axes"), str):
        return {"all": _letters(said, "axes")}
    table = said.table("axes")
    if table is None:
        return {}
    found = {state: _letters(table, state) for state in ("planned", "achieved")}
    table.done()
    return found


def _letters(said: Said, key: str) -> str:
    letters = said.text(key, OURS)
    if axes_named(letters) is None:
        raise said.wrong(
            key,
            f"is {letters!r}, which is no axis convention.",
            "Three letters, one a column, for the way its numbers grow: L or R, P or A, "
            "S or I; such as LPS or RAS.",
        )
    return letters.upper()


def _row_choice(said: Said) -> RowChoice:
    heading = said.text("heading")
    pattern = said.pattern("pattern", groups=0)
    if not heading or pattern is None:
        raise said.wrong("", "needs heading and pattern.")
    choice = RowChoice(heading, pattern, said.text("why"))
    said.done()
    return choice


def _joins(said: Said) -> tuple[Join, ...]:
    joins = []
    for one in said.tables("join"):
        tab = one.text("tab", SAME_TAB)
        name = one.text("name", tab)
        on = one.texts("on")
        their = one.texts("their") or on
        only = one.table("only")
        if not name or not on:
            raise one.wrong("", "needs on, and tab or name.")
        if len(on) != len(their):
            raise one.wrong("their", f"names {len(their)} columns, on {len(on)}.")
        if tab == SAME_TAB and only is None:
            raise one.wrong(
                "only", "is missing: a join without a tab needs to say which rows."
            )
        header_rows = one.whole("header_rows", 1, most=MOST_HEADER_ROWS)
        chosen = None if only is None else _row_choice(only)
        joins.append(Join(name, tab, on, their, header_rows, chosen))
        one.done()
    names = [join.name for join in joins]
    for name in names:
        if names.count(name) > 1:
            raise said.wrong("join", f"has the name {name!r} twice.")
    return tuple(joins)


def _blocks(said: Said, signs: Signs) -> tuple[Block, ...]:
    found = said.tables("rows")
    if not found:
        raise said.wrong(
            "rows",
            "is missing: the layout says nothing of what comes out.",
            'Write [[rows]] with sheet = "implants" (or another) and below it '
            "[rows.fields].",
        )
    return tuple(block_of(one, signs) for one in found)


def _refuse_leaks(said: Said, blocks: tuple[Block, ...], drop: tuple[str, ...]) -> None:
    """Refuse a layout by which a number or name would be kept as it is written."""
    kinds: dict[str, dict[bool, str]] = {}
    for block in blocks:
        for part in block.parts:
            for name, source in part.sources.items():
                is_identity = bool(fields_by_name(block.sheet)[name].identity)
                found = kinds.setdefault(same_heading(source.heading), {})
                found[is_identity] = name
        if block.phrases_in:
            kinds.setdefault(same_heading(block.phrases_in), {})[False] = "phrases"
    for heading, found in kinds.items():
        if heading and len(found) > 1:
            raise said.wrong(
                "rows",
                f"fill both {found[True]} and {found[False]} from one column.",
                f"{found[True]} is turned into a code; {found[False]} would keep the "
                "number or name as it is written.",
            )
    for heading in drop:
        if same_heading(heading) in kinds:
            raise said.wrong("drop", f"names {heading!r}, which fills a field too.")


def _phrases(
    said: Said, blocks: tuple[Block, ...]
) -> dict[str, tuple[EventMeant, ...]] | None:
    table = said.table("phrases")
    if table is None:
        if any(block.phrases_in for block in blocks):
            raise said.wrong(
                "phrases", "is missing, though a [[rows]] part reads phrases."
            )
        return None
    phrases = {
        plain_phrase(phrase): tuple(
            _event(table, phrase, words) for words in table.texts(phrase)
        )
        for phrase in table.values
    }
    if len(phrases) < len(table.values):
        raise said.wrong(
            "phrases", "holds a phrase twice; capitals, spaces and a last point are no "
            "difference."
        )  # fmt: skip
    return phrases


def _event(table: Said, phrase: str, words: str) -> EventMeant:
    event, _, side = words.strip().partition(" ")
    known = [row["event"] for row in load.rows("events")]
    if event not in known:
        raise table.wrong(
            f'"{phrase}"', f"names {event!r}, which is no event.", f"Allowed: {', '.join(known)}."
        )  # fmt: skip
    if side and side not in SIDES:
        raise table.wrong(
            f'"{phrase}"', f"names the side {side!r}.", f"Allowed: {', '.join(SIDES)}."
        )
    return EventMeant(event, side)

"""The definition of every number, made from the tables that drive the program."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from typing import Any

from pipeline.errors import UserError
from pipeline.reference import load
from pipeline.reference.load import Field
from pipeline.reported.wording import Words, measures


class NoSuchDefinition(UserError):
    """A definition was asked for that there is not."""


def definitions_text() -> str:
    """Return all definitions as Markdown; ``reports/DEFINITIONS.md`` holds the same."""
    words = Words()
    parts = [f"# {words('definitions.heading')}", words("definitions.intro")]
    parts.append(f"## {words('definitions.measures_heading')}")
    parts.append(_bullets(_measure(words, name) for name in measures()))
    parts.append(f"## {words('definitions.words_heading')}")
    parts.append(_bullets(words.table("meaning.word").values()))
    parts.append(f"## {words('definitions.figures_heading')}")
    parts.append(_bullets(words.table("meaning.figure").values()))
    parts.append(f"## {words('definitions.examples_heading')}")
    parts.append(_bullets(_example(words, e) for e in load.worked_examples()))
    parts.append(f"## {words('definitions.sheets_heading')}")
    for sheet in load.sheets():
        parts.append(f"### {sheet}")
        parts.append(_bullets(_field(words, field) for field in load.fields(sheet)))
    parts.append(f"## {words('definitions.columns_heading')}")
    for table in dict.fromkeys(row["table"] for row in load.rows("columns")):
        parts += [f"### {table}", _columns(words, table)]
    return "\n\n".join(parts).replace("\u00a0", " ") + "\n"


def definition_of(entry: str) -> str:
    """Return the definition of one measure, column, table or word.

    Args:
        entry: such as ``entry_3d_mm``, ``measured.pairs``, ``summarised.criteria.share``,
            ``Entry deviation`` or ``inside``; capitals and spaces do not matter.

    Raises:
        NoSuchDefinition: there is none; near names are suggested.
    """
    words = Words()
    entries = _entries(words)
    wanted = _plain(entry)
    if wanted in entries:
        text = "\n".join(dict.fromkeys(entries[wanted]))
        return text.replace("\u00a0", " ") + "\n"
    near = difflib.get_close_matches(wanted, entries, n=4, cutoff=0.55)
    near += [
        name for name in entries if wanted and wanted in name and name not in near
    ][:4]
    hint = (
        words("definitions.suggest", names=", ".join(near[:5]))
        if near
        else words("definitions.see_all")
    )
    raise NoSuchDefinition(words("definitions.unknown", entry=entry), hint=hint)


def _plain(text: str) -> str:
    return re.sub(r"[\s_-]+", "_", text.strip().lower())


def _entries(words: Words) -> dict[str, list[str]]:
    """Return every name that can be asked for, with what it means."""
    found: dict[str, list[str]] = {}

    def add(name: str, text: str) -> None:
        found.setdefault(_plain(name), []).append(text)

    for name, known in measures().items():
        for key in (name, known.label, known.short_label):
            add(key, _measure(words, name))
    for row in load.rows("columns"):
        text = _column(words, row)
        for key in (row["column"], row["table"], f"{row['table']}.{row['column']}"):
            add(key, text)
    for group in ("meaning.word", "meaning.figure"):
        for name, text in words.table(group).items():
            for key in (name, text.partition(":")[0]):
                add(key, text)
    for field in load.fields():
        for key in (field.field, field.sheet, f"{field.sheet}.{field.field}"):
            add(key, _field(words, field))
    for example in load.worked_examples():
        for key in example["defines"]:
            add(key, _example(words, example))
    return found


def _field(words: Words, field: Field) -> str:
    """Return one line about a field of a record sheet."""
    kind = ", ".join(field.codes) or words(f"definitions.kind.{field.kind}")
    return words(
        "definitions.required_field" if field.is_required else "definitions.field",
        name=f"{field.sheet}.{field.field}",
        kind=f"{kind}, {field.unit}" if field.unit else kind,
        meaning=field.meaning,
    )


def _example(words: Words, example: dict[str, Any]) -> str:
    """Return a worked example in words; the test of the same name runs it."""
    return words(
        "definitions.example",
        names=", ".join(f"`{name}`" for name in example["defines"]),
        sentence=example["sentence"],
        source=example["source"],
    )


def _measure(words: Words, name: str) -> str:
    known = measures()[name]
    about = words(
        "definitions.measure_of",
        label=known.label,
        unit=words(f"axis_unit.{known.unit}"),
        place=known.place,
        sentence=known.sentence,
    )
    return f"`{name}` {about}"


def _column(words: Words, row: dict[str, str]) -> str:
    return words(
        "definitions.column_entry",
        table=row["table"],
        column=row["column"],
        type=row["type"],
        unit=row["unit"] or words("definitions.no_unit"),
        meaning=row["meaning"],
        null=row["null_means"],
    )


def _columns(words: Words, table: str) -> str:
    head = [
        words(f"definitions.{name}")
        for name in ("column", "type", "unit", "null", "meaning")
    ]
    lines = [f"| {' | '.join(head)} |", "| --- | --- | --- | --- | --- |"]
    for row in load.rows("columns"):
        if row["table"] == table:
            cells = [
                f"`{row['column']}`",
                row["type"],
                row["unit"],
                row["null_means"],
                row["meaning"],
            ]
            lines.append(
                "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
            )
    return "\n".join(lines)


def _bullets(sentences: Iterable[str]) -> str:
    return "\n".join(f"- {sentence}" for sentence in sentences)

"""What no heading of a foreign sheet says, and a person has to: place, state, source."""

from __future__ import annotations

from typing import Any

from pipeline.records.evidence import place_of
from pipeline.records.layout_draft import Draft, Path, Question
from pipeline.records.layout_model import fields_by_name
from pipeline.records.layout_said import OPEN
from pipeline.records.proposal_tabs import Column
from pipeline.records.site_notation import FDI, LETTERS, NOTATIONS
from pipeline.reference import load

SOURCES = ("cbct", "scan_body", "cast_scan", "not known")


def add_place(draft: Draft, at: Path, sheet: str, place: Column) -> None:
    """Add the column of places, and ask how they are written where that is open."""
    name, guess = place_of(place.heading, place.cells)
    known = fields_by_name(sheet)
    if name not in known:
        name = "side"
    path = (*at, "fields", name)
    draft.put(path, {"heading": place.heading})
    draft.because(path, guess.reason)
    samples = place.cells
    if guess.value == LETTERS:
        draft.put((*path, "notation"), LETTERS)
        draft.put((*path, "first_letter"), OPEN)
        where: tuple[Path, ...] = ((*path, "first_letter"),)
        draft.ask(Question(guess.ask, where, guess.choices, "", samples[:3]))
    elif guess.ask or (guess.value and guess.value != FDI) or name == "side":
        is_words = name == "side" and not guess.ask and guess.value not in NOTATIONS
        if not is_words:
            draft.guess([(*path, "notation")], guess, samples)


def ask_for_missing(draft: Draft, at: Path, sheet: str) -> None:
    """Ask for what every row needs and no column gives."""
    block = draft.values["rows"][at[1]]
    there = set(block["fields"])
    for part in block.get("each", []):
        there |= set(part)
    known = fields_by_name(sheet)
    for field in (known[name] for name in load.missing(sheet, there)):
        if field.field != "event":
            path = (*at, "fields", field.field)
            draft.put(path, {"always": OPEN})
            draft.ask(
                Question(
                    f"no column gives {field.field} ({field.meaning}): what is it in "
                    "every row?",
                    ((*path, "always"),),
                    field.codes,
                    is_free=not field.codes,
                )
            )
    if "tooth" in known and not there & {"tooth", "side", "site"}:
        path = (*at, "fields", "side")
        draft.put(path, {"heading": OPEN})
        draft.ask(
            Question(
                "no column says left or right: which heading does?",
                ((*path, "heading"),),
                (),
                is_free=True,
            )
        )
    if sheet in {"implants", "deviations"} and "achieved_source" not in there:
        _ask_source(draft, at)


def _ask_source(draft: Draft, at: Path) -> None:
    """Ask what the achieved position was read from: the grade of the record hangs on it."""
    path = (*at, "fields", "achieved_source")
    draft.put(path, {"always": OPEN})
    written: dict[str, tuple[Any, ...]] = {
        source: ({"always": source},) for source in SOURCES[:-1]
    }
    written[SOURCES[-1]] = (None,)
    draft.ask(
        Question(
            "what was the achieved position read from?",
            (path,),
            SOURCES,
            written=written,
        )
    )

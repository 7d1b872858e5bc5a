"""A proposal for an appointment list: visits, and events by whole phrases."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipeline.records.evidence import day_order_of, given
from pipeline.records.layout_draft import KEEP, NO, YES, Draft, Path, Question
from pipeline.records.layout_model import plain_phrase, same_heading
from pipeline.records.layout_said import OPEN
from pipeline.records.phrases import counted
from pipeline.records.proposal_tabs import Column, Tab, words_of
from pipeline.reference import load

if TYPE_CHECKING:
    from pipeline.records.proposal_rows import Filled

PRACTICE_NO = "practice_no"
MOST_PHRASES = 100
LEAST_TIMES = 2
"""A phrase that stands only once may be a sentence about a person, and is not shown."""


def add_visits(draft: Draft, tab: Tab, shared: Sequence[Filled]) -> None:
    """Add how attendance, and what was done, can be read from an appointment list."""
    block = draft.values["rows"][0]
    draft.because(
        ("rows", 0, "fields", "case_id"),
        "it must be the number under which the cases are kept; rows of other patients "
        "are counted and not stored",
    )
    status = _column(tab, "status")
    if status is not None:
        _attended(draft, status)
    reason = _column(tab, "reason_text")
    day = block["fields"].get("visit_date")
    if reason is not None and day is not None:
        _events(draft, tab.columns, reason, day, shared)
    _whose_number(draft, tab)


def _events(
    draft: Draft,
    columns: Sequence[Column],
    reason: Column,
    day: dict[str, Any],
    shared: Sequence[Filled],
) -> None:
    """Add events by the whole phrases of a free text."""
    fields: dict[str, Any] = {
        one.field: {"heading": one.column.heading} for one in shared
    }
    fields["event_date"] = dict(day)
    place = len(draft.values["rows"])
    draft.values["rows"].append(
        {"sheet": "events", "phrases": reason.heading, "fields": fields}
    )
    if day.get("date_order") == OPEN:
        column = next(c for c in columns if c.heading == day["heading"])
        path = ("rows", place, "fields", "event_date", "date_order")
        draft.guess([path], day_order_of(column.heading, column.cells))
    _phrases(draft, reason)


def _whose_number(draft: Draft, tab: Tab) -> None:
    """Ask whether a practice's number is that of the case, or led to it by numbers."""
    if tab.case is None or tab.case.meaning.tokens != {"practice"}:
        return
    heading = {"heading": tab.case.heading}
    paths: list[Path] = []
    for number, block in enumerate(draft.values["rows"]):
        fields = block["fields"]
        block["fields"] = {PRACTICE_NO: fields.pop("case_id"), **fields}
        at = ("rows", number, "fields")
        paths += [(*at, "case_id"), (*at, PRACTICE_NO)]
    pairs = len(draft.values["rows"])
    draft.ask(
        Question(
            f"{tab.case.heading!r}: the number the cases are kept under (case_id), or the "
            "practice's own, which the sheet numbers leads to the case (practice_no)?",
            tuple(paths),
            ("case_id", PRACTICE_NO),
            PRACTICE_NO,
            tuple(tab.case.cells[:3]),
            written={
                "case_id": (heading, None) * pairs,
                PRACTICE_NO: (None, KEEP) * pairs,
            },
        )
    )


def _column(tab: Tab, token: str) -> Column | None:
    return next((c for c in tab.columns if token in c.meaning.tokens), None)


def _attended(draft: Draft, status: Column) -> None:
    """Map the words for kept and missed appointments onto yes and no."""
    known = words_of("attended")
    words = {}
    for cell in dict.fromkeys(given(status.cells)):
        words[cell] = known.get(same_heading(cell), (OPEN, True))[0]
    path = ("rows", 0, "fields", "attended")
    draft.put(path, {"heading": status.heading, "words": words})
    for cell, meant in words.items():
        if meant == OPEN:
            draft.ask(
                Question(
                    f"did the patient come where {status.heading!r} says {cell!r}?",
                    ((*path, "words", cell),),
                    ("yes", "no"),
                )
            )


def _phrases(draft: Draft, reason: Column) -> None:
    """List the whole phrases that stand often enough, with a guess for each."""
    guesses = {
        plain_phrase(row["phrase"]): row["events"] for row in load.rows("event_phrases")
    }
    counts = Counter(plain_phrase(cell) for cell in given(reason.cells))
    shown = {
        phrase: count
        for phrase, count in counts.most_common()
        if count >= LEAST_TIMES or phrase in guesses
    }
    known = {phrase: count for phrase, count in shown.items() if phrase in guesses}
    strange = [phrase for phrase in shown if phrase not in guesses][:MOST_PHRASES]
    draft.put(
        ("phrases",),
        {},
        "Whole phrase = the events it stands for, [] for none. What is not listed stays "
        "a visit of unknown content; it is counted.",
    )
    for phrase, count in known.items():
        events = guesses[phrase]
        draft.put(
            ("phrases", phrase), [events] if events else [], counted(count, "row")
        )
    left = len(counts) - len(shown)
    if left:
        draft.because(
            ("phrases",),
            f"{counted(left, 'phrase')} that stand only once are not shown here, for such "
            "a sentence may name a person.",
        )
    if strange:
        draft.because(
            ("phrases",),
            "Not known here, add them if they matter: "
            + "; ".join(f'"{phrase}" ({counts[phrase]})' for phrase in strange),
        )
    draft.ask(
        Question(
            f"do the phrases in [phrases] stand for the events written there "
            f"({len(known)} guessed)?",
            (("phrases",),),
            (YES, NO),
            YES,
            tuple(known)[:3],
            written={YES: (KEEP,), NO: ({},)},
        )
    )

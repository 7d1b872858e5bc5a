"""A layout as it is being proposed: what it says, why, and what a person must confirm."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pipeline.records.evidence import Guess
from pipeline.records.layout_said import OPEN

Path = tuple[str | int, ...]
WIDTH = 88
YES, NO = "yes", "no"
KEEP = "\x00keep"
"""Written by an answer that leaves the proposal as it is."""


@dataclass(frozen=True, slots=True)
class Question:
    """A point that a person must confirm.

    Attributes:
        sentence: the question.
        paths: where the answer is written; all get the same.
        choices: the answers there are.
        guess: the proposal; '' where two readings fit as well.
        samples: cells it is about, shown only at the keyboard.
        is_free: other answers than the choices are possible.
        written: answer -> what is written at each place, where that is not the answer
            itself; None removes what was proposed there.
    """

    sentence: str
    paths: tuple[Path, ...]
    choices: tuple[str, ...]
    guess: str = ""
    samples: tuple[str, ...] = ()
    is_free: bool = False
    written: Mapping[str, tuple[Any, ...]] | None = None


@dataclass
class Draft:
    """A layout on its way.

    Attributes:
        values: what the file will say.
        reasons: where -> why it is said.
        questions: what is open.
        notices: what to know before using it.
    """

    values: dict[str, Any] = field(default_factory=dict)
    reasons: dict[Path, list[str]] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    def put(self, path: Path, value: Any, reason: str = "") -> None:
        """Say something, and why."""
        place: Any = self.values
        for step in path[:-1]:
            place = place[step] if isinstance(step, int) else place.setdefault(step, {})
        place[path[-1]] = value
        self.because(path, reason)

    def because(self, path: Path, reason: str) -> None:
        """Add a reason."""
        if reason and reason not in self.reasons.setdefault(path, []):
            self.reasons[path].append(reason)

    def guess(
        self, paths: Iterable[Path], guess: Guess, samples: Iterable[str] = ()
    ) -> None:
        """Say what was guessed at one or several places; ask where it must be asked."""
        places = tuple(paths)
        for place in places:
            self.put(place, guess.value or OPEN)
        self.because(places[0], guess.reason)
        if guess.ask:
            shown = _shown(samples)
            self.ask(
                Question(
                    guess.ask,
                    places,
                    guess.choices,
                    guess.value,
                    shown,
                    is_free=guess.is_free,
                )
            )

    def ask(self, question: Question) -> None:
        """Add a question; the same one about another place is asked once for both."""
        for number, known in enumerate(self.questions):
            if known.sentence == question.sentence:
                both = {
                    answer: values + (question.written or {}).get(answer, ())
                    for answer, values in (known.written or {}).items()
                }
                self.questions[number] = replace(
                    known, paths=known.paths + question.paths, written=both or None
                )
                return
        self.questions.append(question)

    def confirm(
        self, sentence: str, paths: Iterable[Path], samples: Iterable[str] = ()
    ) -> None:
        """Ask whether something proposed is right; no removes it."""
        places = tuple(paths)
        shown = _shown(samples)
        written = {YES: (KEEP,) * len(places), NO: (None,) * len(places)}
        self.ask(Question(sentence, places, (YES, NO), YES, shown, written=written))

    def answer(self, question: Question, answer: str) -> None:
        """Settle a question."""
        self.questions.remove(question)
        known = question.written or {}
        values = known.get(answer, (answer,) * len(question.paths))
        for path, value in zip(question.paths, values, strict=True):
            if value is None:
                self._remove(path)
            elif value != KEEP:
                self.put(path, value)

    def _remove(self, path: Path) -> None:
        place: Any = self.values
        for step in path[:-1]:
            place = place[step]
        if isinstance(place, dict):
            place.pop(path[-1], None)
        elif isinstance(place, list) and path[-1] in place:
            place.remove(path[-1])


def _shown(samples: Iterable[str]) -> tuple[str, ...]:
    """Return the first three different cells that hold anything."""
    return tuple(dict.fromkeys(filter(None, map(str.strip, samples))))[:3]


def toml_of(draft: Draft, heading: Iterable[str]) -> str:
    """Return the layout as TOML with its reasons as comments.

    Args:
        draft: the layout.
        heading: sentences for the top of the file.
    """
    lines = [line for sentence in heading for line in _comment(sentence)]
    for notice in draft.notices:
        lines += _comment(f"Notice: {notice}")
    values = dict(draft.values)
    confirm = [question.sentence for question in draft.questions]
    lines.append("")
    if confirm:
        lines += _comment(
            "Settle each point in its place below, then take it out of this list; until "
            "then the layout is not used."
        )
        lines += ["confirm = [", *(f"    {_value(one)}," for one in confirm), "]"]
    tables = {"skip": "skip", "join": "join", "rows": "rows"}
    phrases = values.pop("phrases", None)
    for key, value in values.items():
        if key not in tables and not (key == "axes" and isinstance(value, dict)):
            lines += _line(draft, (key,), key, value)
    if isinstance(values.get("axes"), dict):
        lines += ["", "[axes]"]
        for key, value in values["axes"].items():
            lines += _line(draft, ("axes", key), key, value)
    for key in tables:
        for number, one in enumerate(values.get(key, [])):
            lines += ["", *_reasons(draft, (key, number)), f"[[{key}]]"]
            lines += _table(draft, (key, number), one)
    if phrases is not None:
        lines += ["", *_reasons(draft, ("phrases",)), "[phrases]"]
        for key, value in phrases.items():
            lines += _line(draft, ("phrases", key), _value(key), value)
    return "\n".join(lines) + "\n"


def _table(draft: Draft, path: Path, said: Mapping[str, Any]) -> Iterator[str]:
    for key, value in said.items():
        if key == "fields":
            yield f"[{path[0]}.fields]"
            for name, one in value.items():
                yield from _line(draft, (*path, "fields", name), name, one)
        elif key == "each":
            yield from _reasons(draft, (*path, key), with_inside=True)
            yield "each = ["
            for one in value:
                yield f"    {_value(one)},"
            yield "]"
        else:
            yield from _line(draft, (*path, key), key, value)


def _line(draft: Draft, path: Path, key: str, value: Any) -> Iterator[str]:
    yield from _reasons(draft, path, with_inside=True)
    if isinstance(value, dict) and list(value) == ["heading"]:
        value = value["heading"]
    yield f"{key} = {_value(value)}"


def _reasons(draft: Draft, path: Path, *, with_inside: bool = False) -> Iterator[str]:
    """Yield the reasons of a key, and of what is written inside its line."""
    for known, reasons in draft.reasons.items():
        is_inside = with_inside and known[: len(path)] == path
        if known == path or is_inside:
            for reason in reasons:
                yield from _comment(reason)


def _comment(sentence: str) -> list[str]:
    return textwrap.wrap(
        sentence, WIDTH, initial_indent="# ", subsequent_indent="# ",
        break_long_words=False,
    )  # fmt: skip


def _value(value: Any) -> str:
    """Return a value as TOML; its texts are written as JSON writes them."""
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str) and "\\" in value and "'" not in value:
        return f"'{value}'"
    return json.dumps(value, ensure_ascii=False)


def _key(key: str) -> str:
    is_bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if is_bare else _value(key)

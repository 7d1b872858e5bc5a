"""Settle the open points of a proposed layout at the keyboard, one question at a time.

The only place where cells of a file are shown on a terminal: the person asked for it,
to tell what they mean.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.audit import Audit
from pipeline.errors import NoPlaceForLayout
from pipeline.records.axes import axes_named

if TYPE_CHECKING:
    from pipeline.records.layout_draft import Question
    from pipeline.records.proposing import Proposal

Say = Callable[[str], None]
Ask = Callable[[str], str]

LATER = "later"


def place_for(audit: Audit | None, name: str) -> Path:
    """Return where a layout is written.

    Raises:
        NoPlaceForLayout: there is no audit near, or a layout of that name is there.
    """
    if audit is None:
        raise NoPlaceForLayout(
            "The file lies in no audit folder, so the layout has no place to go.",
            hint="Copy the file into records/ of an audit first, or leave --ask out and "
            "keep what is printed.",
        )
    path = audit.layouts_folder / f"{name}.toml"
    if path.exists():
        raise NoPlaceForLayout(
            f"layouts/{path.name} is there already and is not overwritten.",
            hint="Change it in an editor, or rename it and run again.",
        )
    return path


def ask_all(proposal: Proposal, ask: Ask, say: Say) -> None:
    """Ask every open question of a proposal and write the answers into it.

    Args:
        proposal: changed in place.
        ask: shows a line and returns what was typed.
        say: shows a line.
    """
    questions = list(proposal.draft.questions)
    for notice in proposal.draft.notices:
        say(notice)
    for number, question in enumerate(questions, start=1):
        say("")
        say(f"{number} of {len(questions)}: {question.sentence}")
        samples = [one.strip() for one in question.samples if one.strip()]
        if samples:
            say(f"  such as: {'   '.join(samples)}")
        answer = _answer(question, ask, say)
        if answer != LATER:
            proposal.draft.answer(question, answer)


def _answer(question: Question, ask: Ask, say: Say) -> str:
    """Ask until the answer is one that can be followed."""
    ways = "/".join([*question.choices, LATER])
    default = f" [{question.guess}]" if question.guess else ""
    while True:
        typed = ask(f"  {ways}{default}").strip() or question.guess
        if typed == LATER or typed in question.choices:
            return typed
        if question.is_free and typed and _is_followed(question, typed):
            return typed
        say(f"  Please type one of: {ways}.")


def _is_followed(question: Question, typed: str) -> bool:
    is_about_axes = any("axes" in path for path in question.paths)
    return not is_about_axes or axes_named(typed) is not None

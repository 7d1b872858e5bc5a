"""How the cells of a proposal's columns are written: units, days, words, signs, ranges."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from statistics import median

from pipeline.records.days import is_day_like
from pipeline.records.evidence import (
    Guess,
    day_order_of,
    given,
    signs_of,
    unit_of_lengths,
    units_in_cells,
)
from pipeline.records.layout_draft import Draft, Question
from pipeline.records.layout_model import same_heading
from pipeline.records.layout_said import OPEN
from pipeline.records.numbers_written import EITHER, POINT, Style, read_number
from pipeline.records.phrases import counted
from pipeline.records.proposal_rows import Written
from pipeline.records.proposal_tabs import Column, words_of
from pipeline.records.units import units
from pipeline.reference.load import Field

USUAL_MM = {
    "implants": ("length", (5.0, 20.0), "the distance from head to tip"),
    "deviations": ("entry_3d_mm", (0.15, 12.0), "a middle deviation"),
    "cast_readings": ("midline_mm", (3.0, 60.0), "a middle distance"),
}
"""Between which figures lengths of a sheet usually lie in millimetres."""

LARGEST_RADIANS = 0.6
FEW_FIGURES = 5
ENOUGH_FOR_SIGNS = 8
_RANGE = re.compile(r"\s*\d[\d.,/ ½¼¾]*\s*(?:-|–|to)\s*\d[\d.,/ ½¼¾]*\s*(?:mm|cm)?\s*")
_MISSING = frozenset({"", "-", "n/a", "na", "?", "unknown", "not known"})


def describe_cells(
    draft: Draft, sheet: str, written: Sequence[Written], neighbours: Sequence[Column]
) -> None:
    """Say for each field how its cells are written, and ask where that is open.

    Args:
        draft: the proposal.
        sheet: the record sheet.
        written: the fields filled from columns.
        neighbours: all columns of the tab in order, to find numbers cut in two.
    """
    for one in written:
        if one.field.kind == "date":
            _days(draft, one)
        elif one.field.kind in {"code", "yes_no"}:
            _words(draft, one)
        elif one.field.kind == "number":
            _figures(draft, one, neighbours)
    numbers = [one for one in written if one.field.kind == "number"]
    _angles(draft, [one for one in numbers if one.field.unit == "deg"])
    _lengths(draft, sheet, [one for one in numbers if one.field.unit == "mm"])
    _directions(draft, sheet, numbers)


def describe_signs(draft: Draft, written: Sequence[Written]) -> None:
    """Say which decimal and thousands signs all figures have."""
    numbers = [one for one in written if one.field.kind == "number"]
    guess, thousands = signs_of([one.cells for one in numbers])
    if guess.value != POINT or guess.ask:
        samples = [cell for one in numbers for cell in given(one.cells) if "," in cell]
        draft.guess([("decimal_sign",)], guess, samples)
    if thousands:
        draft.put(("thousands_sign",), thousands)


def _days(draft: Draft, one: Written) -> None:
    guess = day_order_of(one.columns[0].heading, one.cells)
    if guess.value != "iso":
        draft.guess([(*one.path, "date_order")], guess, given(one.cells))
    else:
        draft.because(one.path, guess.reason)


def _words(draft: Draft, one: Written) -> None:
    """Map the clinic's words onto ours; what is not known stays open."""
    known = words_of(one.field.field)
    ours = {"yes", "no", "y", "n", "true", "false", "1", "0"}
    if one.field.kind == "code":
        ours = set(one.field.codes)
    found: dict[str, str] = {}
    asked: list[str] = []
    for cell in dict.fromkeys(map(str.strip, one.cells)):
        word = same_heading(cell)
        if word in ours or word in _MISSING or word in map(same_heading, found):
            continue
        meant, is_asked = known.get(word, (OPEN, True))
        found[cell] = meant
        if is_asked and meant != OPEN:
            asked.append(cell)
    if not found:
        return
    draft.put((*one.path, "words"), found)
    draft.because(one.path, "the clinic's words on the left, ours on the right")
    allowed = one.field.codes or ("yes", "no")
    for cell, meant in found.items():
        path = (*one.path, "words", cell)
        if meant == OPEN:
            draft.ask(
                Question(
                    f"which {one.field.field} is meant by {cell!r} in "
                    f"{one.columns[0].heading!r}?",
                    (path,),
                    allowed,
                )
            )
    if asked:
        shown = ", ".join(f"{cell!r} as {found[cell]}" for cell in asked)
        draft.confirm(
            f"schools differ in what they call {one.field.field}: read {shown}?",
            [(*one.path, "words")],
        )


def _figures(draft: Draft, one: Written, neighbours: Sequence[Column]) -> None:
    """Look for dates, ranges and numbers cut in two among figures."""
    heading = one.columns[0].heading
    cells = given(one.cells)
    days = [cell for cell in cells if is_day_like(cell)]
    if days:
        draft.notices.append(
            f"{counted(len(days), 'cell')} of {heading!r} are days, not figures: the "
            "spreadsheet turned numbers into dates (7-8 into 8 July). Retype them from the "
            "source; until then they are set aside."
        )
    ranges = [cell for cell in cells if _RANGE.fullmatch(cell) and cell not in days]
    if ranges:
        path = (*one.path, "range")
        draft.put(path, "middle", f"{counted(len(ranges), 'cell')} such as 7-8")
        draft.confirm(
            f"is a range in {heading!r} to be read as its middle, half its width kept "
            "beside it?",
            [path],
            ranges,
        )
    rest = _decimals_beside(one.columns[0], neighbours)
    if rest is not None and len(one.columns) == 1:
        path = (*one.path, "decimals_in")
        draft.put(path, rest.heading, "whole numbers, and digits in a column unheaded")
        draft.confirm(
            f"were the figures of {heading!r} cut in two at their decimal comma, the rest "
            f"now in {rest.heading}?",
            [path],
            [" | ".join(pair) for pair in zip(one.cells, rest.cells, strict=True)],
        )


def _decimals_beside(column: Column, neighbours: Sequence[Column]) -> Column | None:
    """Return the unheaded column on the right that holds only the digits cut off."""
    place = next((i for i, one in enumerate(neighbours) if one is column), -1)
    if place < 0 or place + 1 >= len(neighbours):
        return None
    rest = neighbours[place + 1]
    digits = given(rest.cells)
    if not rest.is_unheaded or not digits:
        return None
    is_cut = all(re.fullmatch(r"\d{1,3}", cell) for cell in digits) and all(
        re.fullmatch(r"[+\-−]?\d+", cell) for cell in given(column.cells)
    )
    return rest if is_cut else None


def _unit_in_headings(draft: Draft, one: Written) -> bool:
    """Take the unit a heading names; tell whether it names one."""
    unit = one.columns[0].meaning.unit
    if unit is None:
        return False
    if not unit.is_ours:
        draft.put((*one.path, "unit"), unit.name)
    return True


def _are_in_cells(one: Written) -> bool:
    found = units_in_cells(one.cells)
    return bool(found) and not found[""]


def figures_of(draft: Draft, cells: Iterable[str]) -> list[float]:
    """Return the figures of a column that can be read with the signs found so far."""
    sign = draft.values.get("decimal_sign", POINT)
    style = Style(sign if sign != OPEN else EITHER, unit=units()["mm"])
    found = (read_number(cell, style) for cell in given(cells))
    return [float(one.text) for one in found if one is not None]


def _angles(draft: Draft, written: Sequence[Written]) -> None:
    for one in written:
        if _unit_in_headings(draft, one) or _are_in_cells(one):
            continue
        sizes = [abs(figure) for figure in figures_of(draft, one.cells)]
        if len(sizes) >= FEW_FIGURES and max(sizes) < LARGEST_RADIANS:
            heading = one.columns[0].heading
            guess = Guess(
                "rad",
                f"no angle is over {max(sizes):.2f}",
                f"angles in {heading!r} look like radians: are they?",
                ("rad", "deg"),
            )
            draft.guess([(*one.path, "unit")], guess, given(one.cells))


def _lengths(draft: Draft, sheet: str, written: Sequence[Written]) -> None:
    bare = [
        one
        for one in written
        if not _unit_in_headings(draft, one) and not _are_in_cells(one)
    ]
    if not bare or sheet not in USUAL_MM:
        return
    name, usual, what = USUAL_MM[sheet]
    size = _head_to_tip(draft, bare) if name == "length" else _middle(draft, bare, name)
    if size is None:
        return
    guess = unit_of_lengths(size, usual, what)
    if guess.value == "mm" and not guess.ask:
        draft.because(bare[0].path, guess.reason)
        return
    draft.guess([(*one.path, "unit") for one in bare], guess, given(bare[0].cells))


def _middle(draft: Draft, written: Sequence[Written], name: str) -> float | None:
    chosen = [one for one in written if one.field.field == name] or written
    sizes = [abs(f) for one in chosen for f in figures_of(draft, one.cells)]
    return median(sizes) if sizes else None


def _head_to_tip(draft: Draft, written: Sequence[Written]) -> float | None:
    """Return a middle distance from entry to apex, from whole columns."""
    by_name = {one.field.field: figures_of(draft, one.cells) for one in written}
    for state in ("planned", "achieved"):
        ends = [
            [by_name.get(f"{state}_{end}_{axis}_mm", []) for axis in "xyz"]
            for end in ("entry", "apex")
        ]
        sizes = {len(column) for end in ends for column in end}
        if len(sizes) == 1 and sizes != {0}:
            squares = [
                sum((a - b) ** 2 for a, b in zip(heads, tips, strict=True))
                for heads, tips in zip(
                    zip(*ends[0], strict=True), zip(*ends[1], strict=True), strict=True
                )
            ]
            return median(squares) ** 0.5
    return None


def _directions(draft: Draft, sheet: str, written: Sequence[Written]) -> None:
    """Ask for the sign of depth, and whether directed figures carry one."""
    if sheet != "deviations":
        return
    directed = [one for one in written if is_directed(one.field)]
    if not directed:
        return
    figures = [f for one in directed for f in figures_of(draft, one.cells)]
    blocks = dict.fromkeys(one.path[:2] for one in directed)
    paths = [(*block, "fields", "is_signed") for block in blocks]
    count_negative = sum(figure < 0 for figure in figures)
    if count_negative:
        for path in paths:
            draft.put(path, {"always": "yes"})
        draft.because(paths[0], f"{count_negative} figures are negative")
        for one in directed:
            if one.field.field == "depth_mm":
                guess = Guess(
                    "",
                    "the cells do not tell which sign is which",
                    f"does a positive figure in {one.columns[0].heading!r} mean deeper "
                    "than planned (as_ours) or less deep (reversed)?",
                    ("as_ours", "reversed"),
                )
                draft.guess([(*one.path, "sign")], guess, given(one.cells))
    elif len(figures) >= ENOUGH_FOR_SIGNS:
        for path in paths:
            draft.put(path, {"always": OPEN})
        draft.because(paths[0], "no figure is negative")
        written_so = {
            word: tuple({"always": word} for _ in paths) for word in ("yes", "no")
        }
        draft.ask(
            Question(
                "depth and other directed figures have no negative among them: do they "
                "carry a sign?",
                tuple(paths),
                ("yes", "no"),
                written=written_so,
            )
        )


def is_directed(field: Field) -> bool:
    """Tell whether the sign of a field means a direction."""
    return "positive" in field.meaning or field.field in {"mesial_mm", "facial_mm"}

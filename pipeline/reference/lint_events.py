"""Find typing errors in the published figures of attachment events."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

from pipeline.reference import load
from pipeline.reference.lint import number

Row = Mapping[str, str]

RATE = "rate_per_100_years"
MEASURES = (RATE, "percent_patients", "percent_dentures", "percent_attachments")
STATUSES = ("seen", "derived", "memory")
REQUIRED = ("key", "citation", "attachment", "event_group", "event", "measure", "value")
LARGEST_RATE = 500.0
"""More than five events a year and denture is a count, not a rate."""


def lint_events(rows: Iterable[Row]) -> list[str]:
    """Return what looks wrong in a table of published event rates, one sentence each.

    Looked for: empty or unreadable cells, words that are not ours, an interval that
    does not hold its value, a share beyond 100 percent, a rate that is not its events
    over its years, a figure given twice.

    Args:
        rows: rows with the columns of ``attachment_events_published.csv``.

    Returns:
        Sentences that begin with the row's key; empty when nothing was found.
    """
    table = list(rows)
    found = [f"{row['key']}: {said}" for row in table for said in _row(row)]
    first: dict[tuple[str, ...], str] = {}
    for row in table:
        sign = tuple(
            row[name] for name in ("citation", "attachment", "event", "measure")
        )
        if first.setdefault(sign, row["key"]) != row["key"]:
            found.append(f"{row['key']}: says the same as {first[sign]}")
    return found


def _row(row: Row) -> Iterator[str]:
    yield from (f"{name} is empty" for name in REQUIRED if not row[name].strip())
    groups = {line["event_group"] for line in load.rows("event_groups")}
    if row["event_group"] not in groups:
        yield f"event_group must be one of {', '.join(sorted(groups))}"
    if row["measure"] not in MEASURES:
        yield f"measure must be one of {', '.join(MEASURES)}"
    if row["source_status"] not in STATUSES:
        yield f"source_status must be one of {', '.join(STATUSES)}"
    if bool(row["where_seen"]) == (row["source_status"] == "memory"):
        yield "a figure that was read says where, a recalled one does not"
    yield from _figures(row)


def _figures(row: Row) -> Iterator[str]:
    value, low, high = (number(row, name) for name in ("value", "low", "high"))
    if value is None:
        yield "value is not a number"
        return
    if value < 0 or value > (LARGEST_RATE if row["measure"] == RATE else 100):
        yield "value is out of its range"
    if (low is None) != (high is None):
        yield "only one end of the interval is given"
    if low is not None and high is not None and not low <= value <= high:
        yield "interval does not contain its value"
    events, years = number(row, "count_events"), number(row, "patient_years")
    if (events is None) != (years is None):
        yield "events without years, or years without events"
    if events is not None and years is not None:
        if row["measure"] != RATE or years <= 0:
            yield "only a rate has events and years"
        elif not math.isclose(100 * events / years, value, abs_tol=0.051):
            yield f"{events:g} events in {years:g} years are not {value:g} per 100"

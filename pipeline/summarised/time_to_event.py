"""Rows of summarised.first_event and summarised.mean_cumulative_count."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from pipeline.statistics.first_event import (
    FEWEST_AT_RISK,
    Curve,
    cumulative_incidence,
    kaplan_meier,
)
from pipeline.statistics.mean_cumulative import mean_cumulative_count
from pipeline.summarised.follow_up import (
    Flags,
    Floats,
    FollowUp,
    Places,
    groups_of_trouble,
    thinned,
)

FREE, HAD, ENDED = "free", "had_event", "ended_before"
COMPETING = ("remade", "converted", "attachment_changed", "implant_lost", "died")
"""Ends after which no event can come; the others only end the watching."""


def first_event_rows(follow_up: FollowUp) -> Iterator[dict[str, Any]]:
    """Yield the points of three curves a group of events and kind of attachment."""
    is_competing = follow_up.dentures["end_reason"].isin(COMPETING).to_numpy(dtype=bool)
    for group in groups_of_trouble():
        times, has_event = _first_of_each(follow_up, group)
        causes = np.where(has_event, 1, np.where(is_competing, 2, 0))
        for attachment, is_of_kind in _large_enough(follow_up):
            t, c = times[is_of_kind], causes[is_of_kind]
            had, ended = cumulative_incidence(t, c, count_causes=2)
            curves = {FREE: kaplan_meier(t, c == 1), HAD: had, ENDED: ended}
            for name, curve in curves.items():
                head = {"event_group": group, "attachment": attachment, "curve": name}
                for row in _points(curve.until_few_remain()):
                    yield {**head, "count_dentures": t.size, **row}


def _large_enough(follow_up: FollowUp) -> Iterator[tuple[str, Flags]]:
    """Yield each kind of attachment of which enough dentures were watched at all."""
    for attachment, is_of_kind in follow_up.families():
        is_watched = is_of_kind & (follow_up.ends > 0)
        if np.count_nonzero(is_watched) >= FEWEST_AT_RISK:
            yield attachment, is_watched


def _first_of_each(follow_up: FollowUp, group: str) -> tuple[Floats, Flags]:
    """Return the time of the first event, else of the end, and whether it is an event."""
    places, when = follow_up.trouble(group)
    first = np.full(follow_up.ends.size, np.inf)
    np.minimum.at(first, places, when)
    has_event = np.isfinite(first)
    return np.where(has_event, first, follow_up.ends), has_event


def _points(curve: Curve) -> Iterator[dict[str, Any]]:
    keep = thinned(curve.times)
    cumulated = np.cumsum(curve.count_events)
    for place in np.flatnonzero(keep):
        yield {
            "years": float(curve.times[place]),
            "count_at_risk": int(curve.count_at_risk[place]),
            "count_events": int(cumulated[place]),
            "share": float(curve.share[place]),
            "share_low": float(curve.low[place]),
            "share_high": float(curve.high[place]),
        }


def mean_count_rows(follow_up: FollowUp) -> Iterator[dict[str, Any]]:
    """Yield the points of a curve a group of events and kind of attachment."""
    for group in groups_of_trouble():
        places, when = follow_up.trouble(group)
        for attachment, is_of_kind in _large_enough(follow_up):
            head = {"event_group": group, "attachment": attachment}
            for row in _mean_count(follow_up, is_of_kind, places, when):
                yield {**head, **row}


def _mean_count(
    follow_up: FollowUp, is_chosen: Flags, places: Places, when: Floats
) -> Iterator[dict[str, Any]]:
    """Yield the points of one curve while enough dentures are still watched."""
    of_chosen = is_chosen[places]
    ends = follow_up.ends[is_chosen]
    position = np.cumsum(is_chosen) - 1
    times = np.unique(when[of_chosen])
    patients = np.unique(follow_up.patients[is_chosen], return_inverse=True)[1]
    found = mean_cumulative_count(
        ends,
        position[places[of_chosen]],
        when[of_chosen],
        patients,
        at=times[thinned(times)],
    )
    for place in np.flatnonzero(found.count_at_risk >= FEWEST_AT_RISK):
        yield {
            "count_dentures": ends.size,
            "years": float(found.times[place]),
            "count_at_risk": int(found.count_at_risk[place]),
            "count_events": int(found.count_events[place]),
            "mean_count": float(found.mean[place]),
            "mean_low": _given(found.low[place]),
            "mean_high": _given(found.high[place]),
        }


def _given(value: np.float64) -> float | None:
    return float(value) if np.isfinite(value) else None

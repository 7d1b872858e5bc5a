"""Rows of summarised.event_rates: events per 100 denture-years by group, kind, period."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from pipeline.statistics.rates import EventRate, event_rate
from pipeline.summarised.follow_up import (
    WHOLE_TIME,
    YEARS_OF_PERIOD,
    FollowUp,
    event_groups,
)

PERIODS = (WHOLE_TIME, *YEARS_OF_PERIOD)
PER = 100.0


def rate_rows(follow_up: FollowUp) -> Iterator[dict[str, Any]]:
    """Yield a row a group of events, kind of attachment and period."""
    for group in event_groups():
        for attachment, is_of_kind in follow_up.families():
            for period in PERIODS:
                years = follow_up.years(period)
                chosen = is_of_kind & (years > 0)
                if not chosen.any() and period != WHOLE_TIME:
                    continue
                rate = event_rate(
                    follow_up.counts(group, period)[chosen],
                    years[chosen],
                    follow_up.patients[chosen],
                )
                yield {
                    "event_group": group,
                    "attachment": attachment,
                    "period": period,
                    "count_dentures": int(np.count_nonzero(chosen)),
                    **rate_figures(rate),
                }


def rate_figures(rate: EventRate) -> dict[str, Any]:
    """Return the columns of a rate, per 100 denture-years."""

    def per_hundred(value: float | None) -> float | None:
        return None if value is None else PER * value

    return {
        "count_events": rate.count_events,
        "n_patients": rate.n_clusters,
        "exposure_years": rate.exposure,
        "rate_per_100": per_hundred(rate.rate),
        "rate_low": per_hundred(rate.low),
        "rate_high": per_hundred(rate.high),
        "variance_to_mean": rate.variance_to_mean,
        "note": rate.warning,
    }

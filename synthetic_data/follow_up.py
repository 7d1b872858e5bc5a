"""Draw how the dentures fared: exposure, and events as a Poisson process.

Each patient's rates are multiplied with a gamma factor of mean 1, so that a few
patients have many events. Nothing depends on where or how the implants stand.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from synthetic_data.allotment import Columns
from synthetic_data.modes import Array
from synthetic_data.truths import Truths

RECORDS_END = np.datetime64("2026-06-30")
DAYS_A_YEAR = 365.25
PERIODS = np.array(["first_year", "later"])


def draw(
    cases: Columns, truths: Truths, rng: np.random.Generator
) -> dict[str, Columns]:
    """Draw delivery, end of observation and events of every case.

    Args:
        cases: columns of the cases, with surgery day, attachment and exit status.
        truths: event rates per denture-year and the variance between patients.
        rng: source of the draws.

    Returns:
        ``dentures``, one row a case: delivery and last day, patient's factor, years
        observed in the first year and later; ``events``, one row an event: case,
        kind, period, day.
    """
    n_cases = len(cases["case_id"])
    delivery = _workdays(cases["surgery_day"] + _days(rng.integers(75, 115, n_cases)))
    last_day = _last_days(cases, delivery, rng)
    years = (last_day - delivery).astype(float) / DAYS_A_YEAR
    exposure = np.stack([np.clip(years, 0, 1), np.clip(years - 1, 0, None)], axis=-1)
    variance = truths.frailty_variance
    factor = (
        rng.gamma(1 / variance, variance, n_cases) if variance else np.ones(n_cases)
    )
    dentures: Columns = {
        "case_id": cases["case_id"],
        "attachment": cases["attachment"],
        "delivery_day": delivery,
        "last_day": last_day,
        "patient_factor": factor,
        "years_first_year": exposure[:, 0],
        "years_later": exposure[:, 1],
    }
    return {
        "dentures": dentures,
        "events": _events(dentures, exposure * factor[:, None], truths, rng),
    }


def _days(count: NDArray[Any]) -> NDArray[Any]:
    return count.astype(np.int64).astype("timedelta64[D]")


def _workdays(
    days: NDArray[Any], roll: Literal["forward", "backward"] = "forward"
) -> NDArray[Any]:
    moved: NDArray[Any] = np.busday_offset(days, 0, roll=roll)
    return moved


def _last_days(
    cases: Columns, delivery: NDArray[Any], rng: np.random.Generator
) -> NDArray[Any]:
    """Return the last day each patient was seen or known about."""
    span = (RECORDS_END - delivery).astype(np.int64)
    stays = np.isin(cases["exit_status"], ["active", "remade"])
    seen = np.where(
        stays,
        span - rng.integers(0, 100, len(span)),
        span * rng.uniform(0.4, 0.8, len(span)),
    )
    return _workdays(delivery + _days(np.maximum(seen, 20)), roll="backward")


def _rates(attachments: NDArray[Any], truths: Truths) -> Array:
    """Return rates a year, (cases, kinds of event, 2 periods)."""
    return np.stack(
        [
            np.isin(attachments, kind.attachments)[:, None]
            * np.array([kind.rate_first_year, kind.rate_later])
            for kind in truths.events
        ],
        axis=1,
    )


def _events(
    dentures: Columns, weight: Array, truths: Truths, rng: np.random.Generator
) -> Columns:
    expected = _rates(dentures["attachment"], truths) * weight[:, None, :]
    count = rng.poisson(expected)
    case, kind, period = (
        np.repeat(axis.reshape(-1), count.reshape(-1))
        for axis in np.indices(count.shape)
    )
    years = np.stack([dentures["years_first_year"], dentures["years_later"]], axis=-1)
    after = period + rng.uniform(0, 1, len(case)) * years[case, period].astype(float)
    names = np.array([truth.event for truth in truths.events])
    return {
        "case_row": case,
        "case_id": dentures["case_id"][case],
        "event": names[kind],
        "period": PERIODS[period],
        "day": dentures["delivery_day"][case] + _days(after * DAYS_A_YEAR),
    }

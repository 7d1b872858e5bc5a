"""Follow-up tables of an invented audit for the tests of the reports."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

Row = dict[str, Any]

KINDS = ("stud", "ball")
GROUPS = ("attachment", "retention", "insert_renewed", "mucosa")
YEARS = {"settling_in": 0.08, "0-12": 0.9, "12-60": 1.4}


def follow_up(cases: list[Row]) -> dict[str, list[Row]]:
    """Return the tables of the years after for the cases that were delivered."""
    draw = np.random.default_rng(11)
    worn = [case for case in cases if case["delivery_date"]]
    if not worn:
        return {}
    exposure = [_denture(draw, case, at) for at, case in enumerate(worn)]
    n = len(exposure)
    return {
        "measured.exposure": exposure,
        "measured.attachment_events": [
            _event(row, place, k)
            for place, row in enumerate(exposure)
            for k in range(int(draw.poisson(2)))
        ],
        "summarised.event_rates": [
            _rate(group, kind, period, n)
            for group in GROUPS
            for kind in ("all", *KINDS)
            for period in (*YEARS, "all")
        ],
        "summarised.mean_cumulative_count": _means(n) if n >= 10 else [],
        "summarised.first_event": _firsts(n) if n >= 10 else [],
        "summarised.status": [_status(years, n) for years in (1, 3)],
        "summarised.chair_time": [
            {
                "attachment": "all",
                "count_dentures": n,
                "exposure_years": 2.0 * n,
                "count_visits": 4 * n,
                "count_timed_visits": 4 * n,
                "minutes": 100.0 * n,
                "minutes_per_year": 50.0,
            }
        ],
        "summarised.recalls": [
            {
                "count_in_use": n,
                "count_due": n // 2,
                "count_overdue": n // 3,
                "count_never_seen": 1,
                "count_visits": 4 * n,
                "count_missed": 3,
                "count_content_unknown": 2,
            }
        ],
    }


def _denture(draw: np.random.Generator, case: Row, at: int) -> Row:
    years = round(float(draw.uniform(0.4, 3)), 3)
    return {
        "denture_key": f"{case['case_key']}-1",
        "case_key": case["case_key"],
        "patient_key": case["patient_key"],
        "denture_no": 1,
        "attachment": KINDS[at % 2],
        "start_date": case["delivery_date"],
        "end_date": case["delivery_date"] + timedelta(days=round(years * 365.25)),
        "end_reason": "active",
        "exposure_years": years,
    }


def _event(denture: Row, place: int, k: int) -> Row:
    years = denture["exposure_years"] * (k + 1) / 12
    kind = ("adjustment", "repair", "replacement")[k % 3]
    return {
        "row_id": 100 * place + k,
        **{name: denture[name] for name in ("denture_key", "case_key", "patient_key")},
        "event_date": denture["start_date"] + timedelta(days=round(years * 365.25)),
        "years_after_delivery": years,
        "event": "insert_renewed",
        "event_class": kind,
        "is_counted": True,
    }


def _rate(group: str, kind: str, period: str, n: int) -> Row:
    dentures = n if kind == "all" else n // 2
    years = dentures * YEARS.get(period, sum(YEARS.values()))
    events = dentures // 2
    has_interval = dentures >= 5
    rate = 100 * events / years if years else None
    return {
        "event_group": group,
        "attachment": kind,
        "period": period,
        "count_events": events,
        "count_dentures": dentures,
        "n_patients": dentures,
        "exposure_years": years,
        "rate_per_100": rate,
        "rate_low": 0.6 * rate if has_interval and rate is not None else None,
        "rate_high": 1.9 * rate if has_interval and rate is not None else None,
        "variance_to_mean": 1.4,
    }


def _means(n: int) -> list[Row]:
    return [
        {
            "event_group": "attachment",
            "attachment": kind,
            "count_dentures": n,
            "years": step / 4,
            "count_at_risk": n - step,
            "count_events": step,
            "mean_count": 0.3 * step,
            "mean_low": 0.2 * step,
            "mean_high": 0.5 * step,
        }
        for kind in ("all", *KINDS)
        for step in range(1, 9)
    ]


def _firsts(n: int) -> list[Row]:
    return [
        {
            "event_group": "attachment",
            "attachment": "all",
            "curve": "had_event",
            "count_dentures": n,
            "years": step / 4,
            "count_at_risk": n - step,
            "count_events": step,
            "share": step / n,
            "share_low": 0.6 * step / n,
            "share_high": min(1.0, 1.5 * step / n),
        }
        for step in range(1, 9)
    ]


def _status(years: int, n: int) -> Row:
    return {
        "attachment": "all",
        "years_after": years,
        "count_delivered": n,
        "count_due": n,
        "count_success": n - 1,
        "count_survived": 0,
        "count_repaired": 1,
        "count_failed": 0,
        "count_died": 0,
        "count_unknown": 0,
    }

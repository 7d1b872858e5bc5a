"""The years after delivery: rates, curves, each denture over time, status, published."""

from __future__ import annotations

from typing import Any

from pipeline.reference import load
from pipeline.reported.attachment_angles import angle_block
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import FULL, Figure, Rows
from pipeline.reported.follow_up_charts import first_event, mean_count, raster
from pipeline.reported.rates_forest import rates_forest
from pipeline.reported.section import Section, Wait
from pipeline.reported.sections.attachment_trouble import EVERY_KIND, GROUP
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number, whole

FEWEST_DRAWN = 5
"""Dentures a raster takes."""

FEWEST_FOR_CURVE = 10
PERIODS = ("0-12", "12-60", "60+")
FIELDS = ("success", "survived", "repaired", "failed", "died", "unknown")


def content(audit: AuditTables) -> Section | None:
    """Return tables and charts; nothing where no denture was ever watched."""
    whole_time = audit.event_rates.get((GROUP, EVERY_KIND, "all"))
    if whole_time is None or not whole_time["exposure_years"]:
        return None
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    waits: list[Wait] = []
    if len(audit.dentures) >= FEWEST_DRAWN:
        _add(figures, tables, raster(audit))
    else:
        waits.append(Wait("raster", len(audit.dentures), FEWEST_DRAWN, "denture"))
    n_watched = whole_time["count_dentures"]
    if n_watched < FEWEST_FOR_CURVE:
        waits.append(Wait("curves", n_watched, FEWEST_FOR_CURVE, "denture"))
    for draw in (mean_count, first_event, rates_forest):
        made = draw(audit)
        if made is not None:
            _add(figures, tables, made)
    return Section(
        {
            "over_time": _named(figures, "years-raster"),
            "forest": _named(figures, "years-rates"),
            "angles": angle_block(audit),
            "curves": [f for f in figures if f.width != FULL],
            "rates": _rates(audit),
            "recalls": _recalls(audit),
            "status": _status(audit),
            "status_fields": [audit.words(f"years_after.field.{f}") for f in FIELDS],
            "published": [_published(audit, row) for row in _published_rows()],
            "comparisons": _comparisons(audit),
        },
        tuple(figures),
        tables,
        tuple(waits),
    )


def _named(figures: list[Figure], name: str) -> Figure | None:
    return next((figure for figure in figures if figure.name == name), None)


def _add(
    figures: list[Figure], tables: dict[str, Rows], made: tuple[Figure, dict[str, Rows]]
) -> None:
    figures.append(made[0])
    tables.update(made[1])


def _rates(audit: AuditTables) -> list[dict[str, Any]]:
    """Return rates by group for all kinds, and any attachment trouble by kind."""
    words = audit.words
    groups = load.rows("event_groups")
    by_group = [
        _rate(audit, row["label"], audit.event_rates[key])
        for row in groups
        for period in PERIODS
        if (key := (row["event_group"], EVERY_KIND, period)) in audit.event_rates
    ]
    kinds = sorted({key[1] for key in audit.event_rates} - {EVERY_KIND})
    by_kind = [
        _rate(audit, words.code("years_after.kind_of", kind), audit.event_rates[key])
        for kind in kinds
        for period in PERIODS
        if (key := (GROUP, kind, period)) in audit.event_rates
    ]
    head = words("years_after.group")
    tables = [{"title": head, "head": head, "lines": by_group}]
    if len(kinds) > 1:
        title, head = words("years_after.kinds"), words("years_after.kind")
        tables.append({"title": title, "head": head, "lines": by_kind})
    return tables


def _rate(audit: AuditTables, name: str, row: Row) -> Row:
    words = audit.words
    low, high = (number(row[end], 0) for end in ("rate_low", "rate_high"))
    has_interval = row["rate_high"] is not None
    return {
        "name": name,
        "period": words.code("years_after.period", row["period"]),
        "events": whole(row["count_events"]),
        "dentures": whole(row["count_dentures"]),
        "years": number(row["exposure_years"], 1),
        "rate": number(row["rate_per_100"], 0),
        "limits": words("number.interval", low=low, high=high)
        if has_interval
        else NOT_HELD,
        "spread": number(row["variance_to_mean"], 1),
    }


def _recalls(audit: AuditTables) -> list[str]:
    """Return what recalls leave unsaid, and where the overdue ones are listed."""
    words, recalls = audit.words, audit.recalls
    found = []
    if recalls.get("count_content_unknown"):
        found.append(
            words(
                "years_after.content_unknown",
                visits=words.count("visit", recalls["count_visits"]),
                n=whole(recalls["count_content_unknown"]),
            )
        )
    if recalls.get("count_overdue"):
        found.append(words("trouble.list"))
    return found


def _status(audit: AuditTables) -> list[Row]:
    words = audit.words
    return [
        {
            "after": words("years_after.status_year")
            if row["years_after"] == 1
            else words("years_after.status_after", years=row["years_after"]),
            "due": whole(row["count_due"]),
            "counts": [whole(row[f"count_{name}"]) for name in FIELDS],
        }
        for row in audit.status
    ]


def _published_rows() -> list[dict[str, str]]:
    order = [row["event_group"] for row in load.rows("event_groups")]
    return sorted(
        load.rows("attachment_events_published"),
        key=lambda row: (
            order.index(row["event_group"]),
            row["measure"] != "rate_per_100_years",
        ),
    )


def _published(audit: AuditTables, row: dict[str, str]) -> Row:
    words = audit.words
    years = f", {row['years']}" if row["years"] else ""
    return {
        "event": row["event"],
        "kind": words.code("years_after.kind_of", row["attachment"]),
        "value": words(f"years_after.measure.{row['measure']}", value=row["value"]),
        "limits": words("number.interval", low=row["low"], high=row["high"])
        if row["low"]
        else NOT_HELD,
        "n": f"{row['n_patients'] or NOT_HELD}{years}",
        "citation": row["citation"],
        "doi": row["doi"],
        "read": words.code("read", row["source_status"]),
        "note": row["note"],
    }


def _comparisons(audit: AuditTables) -> list[str]:
    words = audit.words
    return [
        words(
            "years_after.against",
            first=words.code("years_after.kind_of", row["attachment"]),
            second=words.code("years_after.kind_of", row["compared_with"]),
            direction=row["direction"],
            citation=row["citation"],
            what=row["what"],
        )
        for row in load.rows("attachment_comparisons_published")
    ]

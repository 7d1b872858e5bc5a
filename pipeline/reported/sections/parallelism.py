"""Parallelism kept: each quantity as planned and as achieved, and what is allowed."""

from __future__ import annotations

from typing import Any, Final

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.leans import TABLE, forward_leans, leans_figure
from pipeline.reported.section import Section, Wait
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, limit, number, percent

STATES: Final = ("planned", "achieved", "change")
FEWEST: Final = 5
"""Cases the picture of single leans takes."""
TO_THE_PLANE: Final = ("pair_forward", "pair_leftward", "implant_forward")
"""Quantities that need up to be known."""


def content(audit: AuditTables) -> Section | None:
    """Return the table and what is within which limit; nothing without pairs."""
    rows = audit.parallelism
    if not rows:
        return None
    words = audit.words
    by_name = {(row["quantity"], row["state"]): row for row in rows}
    names = dict.fromkeys(line["quantity"] for line in load.rows("parallelism_lines"))
    known = {row["quantity"] for row in rows}
    leans = audit.once(forward_leans)
    n_cases = len({row["case"] for row in leans})
    figures = (leans_figure(audit, leans),) if n_cases >= FEWEST else ()
    waits = (Wait("leans", n_cases, FEWEST, "case"),) if 0 < n_cases < FEWEST else ()
    return Section(
        {
            "sources": words.sources(rows[0]["sources"]),
            "lines": [_line(audit, name, by_name) for name in names if name in known],
            "figures": figures,
            "allowed": _of(audit, "within_allowance"),
            "unjudged": _unjudged(audit, by_name),
            "printed": _printed(audit),
            "back": [*_of(audit, "leans_back"), *_ends(audit, by_name)],
            "has_plane": any(name in known for name in TO_THE_PLANE),
        },
        figures,
        {TABLE: leans} if figures else {},
        waits,
    )


def _line(
    audit: AuditTables, name: str, by_name: dict[tuple[str, str], Row]
) -> dict[str, Any]:
    """Return one quantity: its mean in each state with the interval, and its n."""
    rows = {state: by_name.get((name, state)) for state in STATES}
    last = rows["change"] or rows["achieved"]
    cells = [_cell(audit, rows[state]) for state in STATES]
    return {
        "name": audit.words(f"parallelism.quantity.{name}"),
        "cells": cells,
        "n": _counted(audit, last) if last else NOT_HELD,
    }


def _unjudged(audit: AuditTables, by_name: dict[tuple[str, str], Row]) -> str:
    """Say how many pairs have an angle and no allowance to hold it to."""
    angle = by_name.get(("angle", "achieved"))
    judged = sum(
        row["n_values"]
        for row in audit.parallelism
        if row["quantity"] == "within_allowance"
    )
    left = angle["n_values"] - judged if angle else 0
    if not left:
        return ""
    return audit.words("parallelism.unjudged", pairs=audit.words.count("pair", left))


def _ends(audit: AuditTables, by_name: dict[tuple[str, str], Row]) -> list[str]:
    """Say between what the leans of single implants lie."""
    row = by_name.get(("implant_forward", "achieved"))
    if row is None:
        return []
    ends = {
        name: number(row[name], 1, is_signed=True) for name in ("smallest", "largest")
    }
    return [audit.words("parallelism.ends", **ends)]


def _cell(audit: AuditTables, row: Row | None) -> dict[str, str]:
    if row is None:
        return {"mean": NOT_HELD, "interval": ""}
    is_signed = row["statistic"] == "signed"
    interval = ""
    if row["low"] is not None:
        interval = audit.words(
            "number.interval",
            low=number(row["low"], 1, is_signed=is_signed),
            high=number(row["high"], 1, is_signed=is_signed),
        )
    elif row["state"] == "change":
        interval = audit.words("parallelism.too_few")
    return {"mean": number(row["value"], 1, is_signed=is_signed), "interval": interval}


def _counted(audit: AuditTables, row: Row) -> str:
    return audit.words(
        "parallelism.counted",
        values=audit.words.count(row["of_what"], row["n_values"]),
        patients=audit.words.count("patient", row["n_patients"]),
    )


def _of(audit: AuditTables, quantity: str) -> list[str]:
    """Return a sentence for each share of that name."""
    return [
        audit.words(
            f"parallelism.said.{quantity}",
            kind=audit.words.code("years_after.kind_of", row["attachment"]),
            limit=limit(row["limit_deg"]) if row["limit_deg"] is not None else "",
            n_of=audit.words.n_of(row["n_met"], row["n_values"]),
            share=_share(audit, row),
            patients=audit.words.count("patient", row["n_patients"]),
        )
        for row in audit.parallelism
        if row["quantity"] == quantity
    ]


def _share(audit: AuditTables, row: Row) -> str:
    if row["low"] is None:
        return audit.words("parallelism.too_few")
    return audit.words(
        "parallelism.share",
        share=percent(row["value"]),
        interval=audit.words.percent_interval(row["low"], row["high"]),
    )


def _printed(audit: AuditTables) -> list[dict[str, str]]:
    """Return each limit in print with how many pairs lie within it and its source."""
    found = {
        row["limit_deg"]: row
        for row in audit.parallelism
        if row["quantity"] == "within_printed"
    }
    return [
        {
            "limit": limit(float(row["limit_deg"])) + audit.words.unit("deg"),
            "words": row["words"],
            "n_of": audit.words.n_of(mine["n_met"], mine["n_values"]),
            "share": _share(audit, mine),
            "source": row["citation"] or row["source_status"],
            "where": row["where_seen"],
            "note": row["note"],
        }
        for row in load.rows("attachment_limits")
        if (mine := found.get(float(row["limit_deg"])))
    ]

"""Guides a laboratory sent: how many, how they fit, what was remade, of which lots."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD

MOST_LOTS: Final = 8
"""Lots that fit the page beside the rest, those of the latest guides."""

TRIED: Final = ("full", "rocks", "gap")
KINDS: Final = ("surgical", "radiographic", "duplicate_denture", "not known")


def content(audit: AuditTables) -> Section:
    """Return counts in sentences and a line for each lot."""
    words, guides = audit.words, audit.lab_guides
    lots = list(dict.fromkeys(row["material_lot"] for row in guides))
    named = [lot for lot in lots if lot is not None]
    left = len(named) - MOST_LOTS
    return Section(
        {
            "counts": words("lab_return.counts", kinds=_kinds(audit, guides)),
            "fit": _fit(audit, guides),
            "remakes": words(
                "lab_return.remakes",
                n_of=words.n_of(sum(row["is_remade"] for row in guides), len(guides)),
                replacing=words.count("guide", sum(row["is_remake"] for row in guides)),
            ),
            "lots": [_lot(audit, lot, guides) for lot in named[:MOST_LOTS]],
            "more_lots": words("lab_return.more_lots", n=left) if left > 0 else "",
        }
    )


def _kinds(audit: AuditTables, guides: list[Row]) -> str:
    """Return how many of each kind, those there are."""
    counts = {kind: sum(row["kind"] == kind for row in guides) for kind in KINDS}
    return ", ".join(
        f"{n} {audit.words(f'lab_return.kind.{kind}')}"
        for kind, n in counts.items()
        if n
    )


def _fit(audit: AuditTables, guides: list[Row]) -> str:
    words = audit.words
    tried = [row for row in guides if row["fit"] in TRIED]
    if not tried:
        return words("lab_return.no_fit")
    return words(
        "lab_return.fit",
        full=words.n_of(_fits(tried, "full"), len(tried)),
        rocks=_fits(tried, "rocks"),
        gap=_fits(tried, "gap"),
        rest=words.count("guide", len(guides) - len(tried)),
    )


def _fits(guides: Iterable[Row], fit: str) -> int:
    return sum(row["fit"] == fit for row in guides)


def _lot(audit: AuditTables, lot: str, guides: list[Row]) -> dict[str, Any]:
    """Return one lot; a fit only where a guide of it was tried in."""
    own = [row for row in guides if row["material_lot"] == lot]
    tried = [row for row in own if row["fit"] in TRIED]
    return {
        "name": lot,
        "guides": len(own),
        "fit": audit.words.n_of(_fits(tried, "full"), len(tried))
        if tried
        else NOT_HELD,
        "remade": sum(row["is_remade"] for row in own),
    }

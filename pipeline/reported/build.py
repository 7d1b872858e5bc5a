"""Write the reports: read the tables once, fill the sections, put the page together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import jinja2

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, drawn_quickly
from pipeline.reported.page import Body, environment, page
from pipeline.reported.section import (
    MORE,
    SECOND_SIDE,
    Place,
    Section,
    folder_of,
    places,
)
from pipeline.reported.sections.header import cycle_name
from pipeline.reported.sections.waiting import in_words
from pipeline.reported.summary import summary_lines
from pipeline.reported.wording import Words
from pipeline.warehouse import Warehouse

__all__ = ["clinic_page", "summary_lines", "write_clinic_report"]

CLINIC = "clinic"


def write_clinic_report(
    warehouse: Warehouse,
    folder: Path,
    *,
    written_at: datetime,
    title: str = "",
    cache_folder: Path | None = None,
) -> Path:
    """Write the clinic review: one page that needs no other file and no network.

    Args:
        warehouse: the finished audit database; only its tables are read.
        folder: where the page goes; made when missing.
        written_at: now; an action due before it counts as overdue.
        title: what the clinic calls its audit; empty for the page's own title.
        cache_folder: where the chart library is kept between runs; the user's own
            cache when None.

    Returns:
        The page: ``clinic_review.html``, with the cycle's name where one was chosen.
    """
    audit = AuditTables(warehouse, written_at, Words(), title)
    text = clinic_page(audit, cache_folder=cache_folder)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"clinic_review{_suffix(audit)}.html"
    unfinished = path.with_suffix(".html.new")
    unfinished.write_text(text, encoding="utf-8", newline="\n")
    unfinished.replace(path)
    return path


def _suffix(audit: AuditTables) -> str:
    """Return the cycle's name in letters every file system takes."""
    if audit.run["cycle_from"] is None:
        return ""
    plain = re.sub(r"[^A-Za-z0-9]+", "_", str(audit.run["cycle"])).strip("_")
    return f"_{plain[:40]}" if plain else ""


def clinic_page(audit: AuditTables, *, cache_folder: Path | None = None) -> str:
    """Return the clinic review as HTML."""
    words = audit.words
    templates = environment(folder_of(CLINIC), words=words)
    with drawn_quickly():
        sections = [(place, audit.once(place.content)) for place in places(CLINIC)]
    filled = [(place, section) for place, section in sections if section is not None]
    waits = in_words(words, (wait for _, section in filled for wait in section.waits))
    html = [_rendered(templates, place, section, waits) for place, section in filled]
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    for _, section in filled:
        figures += section.figures
        tables |= section.tables
    numbers = [place.number for place, _ in filled]

    def between(first: int, last: int) -> str:
        return "\n".join(
            part
            for number, part in zip(numbers, html, strict=True)
            if first <= number < last
        )

    body = Body(
        title=f"{words('header.title')} - {cycle_name(audit)}",
        first=between(0, SECOND_SIDE),
        second=between(SECOND_SIDE, MORE),
        more=between(MORE, 100),
        figures=figures,
        tables=tables,
        footer=words("page.footer"),
    )
    return page(templates, body, cache_folder)


def _rendered(
    templates: jinja2.Environment, place: Place, section: Section, waits: Sequence[str]
) -> str:
    return templates.get_template(place.template).render(**section.context, waits=waits)

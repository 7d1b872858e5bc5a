"""The research summary: one page, and beside it every table and figure as a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import report_page, sections_of, suffix_of, written
from pipeline.reported.page import CHART_LANGUAGE, environment
from pipeline.reported.printed import as_csv, numbered
from pipeline.reported.section import folder_of
from pipeline.reported.still import drawn, pictured

RESEARCH = "research"
ENDINGS = (".csv", ".html", ".svg", ".png")
"""Endings of the files this module writes and takes away again."""


def write_research_report(
    audit: AuditTables, folder: Path, *, cache_folder: Path | None = None
) -> Path:
    """Write the page, ``tables/`` and ``figures/``; files of an earlier run are replaced.

    Args:
        audit: the tables of the finished audit, of all trainees.
        folder: reports/ of the audit; everything goes into a folder below it.
        cache_folder: where the chart library is kept between runs; the user's own
            cache when None.

    Returns:
        ``research/research_summary.html``, the folder with the cycle's name where one
        was chosen.
    """
    own = folder / f"{RESEARCH}{suffix_of(audit)}"
    page = report_page(audit, RESEARCH, cache_folder=cache_folder)
    for part, files in (("tables", _tables(audit)), ("figures", _figures(audit))):
        wanted = dict(files)
        place = own / part
        place.mkdir(parents=True, exist_ok=True)
        for old in place.iterdir():
            if old.suffix in ENDINGS and old.name not in wanted:
                old.unlink()
        for name, content in wanted.items():
            (place / name).write_bytes(content)
    return written(page, own / "research_summary.html")


def _tables(audit: AuditTables) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of the files of every table on the page."""
    templates = environment(folder_of(RESEARCH), words=audit.words)
    template = templates.get_template("printed_file.html.jinja")
    tables = [
        table
        for _, section in sections_of(audit, RESEARCH)
        for table in section.printed
    ]
    numbers = numbered(audit.words, tables)
    for table in tables:
        yield f"{table.name}.csv", as_csv(table).encode("utf-8-sig")
        html = template.render(table=table, number_of=numbers)
        yield f"{table.name}.html", html.encode()


def _figures(audit: AuditTables) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of the files of every chart on the page."""
    for _, section in sections_of(audit, RESEARCH):
        for figure in section.figures:
            svg = drawn(figure, section.tables, CHART_LANGUAGE)
            yield f"{figure.name}.svg", svg.encode()
            yield f"{figure.name}.png", pictured(svg)

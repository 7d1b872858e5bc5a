"""Write the reports: read the tables once, fill the sections, put each page together."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from pipeline.errors import NoSuchTrainee
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, drawn_quickly
from pipeline.reported.page import Body, environment, page
from pipeline.reported.printed import numbered
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

__all__ = [
    "clinic_page",
    "report_page",
    "sections_of",
    "suffix_of",
    "summary_lines",
    "write_circulated_report",
    "write_clinic_report",
    "write_lab_returns",
    "write_programme_report",
    "write_trainee_report",
    "written",
]

CLINIC = "clinic"
PROGRAMME = "programme"
TRAINEE = "trainee"
CIRCULATED = "circulated"
LAB_RETURN = "lab_return"
TITLES = {
    CLINIC: "header",
    PROGRAMME: "programme",
    TRAINEE: "trainee",
    CIRCULATED: "circulated",
    LAB_RETURN: "lab_return",
    "research": "research",
}


def write_clinic_report(
    audit: AuditTables, folder: Path, *, cache_folder: Path | None = None
) -> Path:
    """Write the clinic review: one page that needs no other file and no network.

    Args:
        audit: the tables of the finished audit; an action due before it was written
            counts as overdue.
        folder: where the page goes; made when missing.
        cache_folder: where the chart library is kept between runs; the user's own
            cache when None.

    Returns:
        The page: ``clinic_review.html``, with the cycle's name where one was chosen.
    """
    text = clinic_page(audit, cache_folder=cache_folder)
    return written(text, folder / f"clinic_review{suffix_of(audit)}.html")


def write_programme_report(
    audit: AuditTables, folder: Path, *, cache_folder: Path | None = None
) -> Path | None:
    """Write the page of the programme: exposure and scores of all trainees, by code.

    Args:
        audit: the tables of the finished audit, of all trainees.
        folder: where the page goes; made when missing.
        cache_folder: as for the clinic review.

    Returns:
        ``programme.html``; None where no student or resident operated.
    """
    if not audit.trainee_exposure:
        return None
    text = report_page(audit, PROGRAMME, cache_folder=cache_folder)
    return written(text, folder / "programme.html")


def write_circulated_report(
    audit: AuditTables, folder: Path, *, cache_folder: Path | None = None
) -> Path | None:
    """Write what of the programme page may go outside: codes, and no small count.

    Args:
        audit: the tables of the finished audit, of all trainees.
        folder: where the page goes; made when missing.
        cache_folder: as for the clinic review.

    Returns:
        ``programme_circulated.html``; None where no trainee treated a patient.
    """
    if not any(row["setting"] == "patient" for row in audit.trainee_exposure):
        return None
    text = report_page(audit, CIRCULATED, cache_folder=cache_folder)
    return written(text, folder / "programme_circulated.html")


def write_trainee_report(
    audit: AuditTables, folder: Path, *, cache_folder: Path | None = None
) -> Path:
    """Write the page of one trainee: own cases only.

    Args:
        audit: the tables of the finished audit, with the code of the trainee.
        folder: where the page goes; made when missing.
        cache_folder: as for the clinic review.

    Raises:
        NoSuchTrainee: no student or resident has that code.
    """
    if not audit.trainee_exposure:
        raise NoSuchTrainee(
            f"No student or resident has the code {audit.trainee!r}.",
            hint="The codes stand on reports/programme.html.",
        )
    text = report_page(audit, TRAINEE, cache_folder=cache_folder)
    return written(text, folder / f"trainee_{audit.trainee}.html")


def write_lab_returns(audit: AuditTables, folder: Path) -> list[Path]:
    """Write one page for each laboratory or in-house maker, of its own guides only.

    Args:
        audit: the tables of the finished audit.
        folder: where the folder ``lab_return`` goes; made when missing.

    Returns:
        The pages, ``lab_return/<code>.html``, with the cycle's name where one was
        chosen; none where nobody is known to have made a guide.
    """
    pages = []
    for code in audit.labs:
        own = replace(audit, lab=code, kept={})
        text = report_page(own, LAB_RETURN)
        pages.append(
            written(text, folder / LAB_RETURN / f"{code}{suffix_of(own)}.html")
        )
    return pages


def written(text: str, path: Path) -> Path:
    """Put a page in its place once it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".html.new")
    unfinished.write_text(text, encoding="utf-8", newline="\n")
    unfinished.replace(path)
    return path


def suffix_of(audit: AuditTables) -> str:
    """Return the cycle's name in letters every file system takes."""
    if audit.run["cycle_from"] is None:
        return ""
    plain = re.sub(r"[^A-Za-z0-9]+", "_", str(audit.run["cycle"])).strip("_")
    return f"_{plain[:40]}" if plain else ""


def clinic_page(audit: AuditTables, *, cache_folder: Path | None = None) -> str:
    """Return the clinic review as HTML."""
    return report_page(audit, CLINIC, cache_folder=cache_folder)


def report_page(
    audit: AuditTables, report: str, *, cache_folder: Path | None = None
) -> str:
    """Return a report as HTML: its numbered sections, in their order."""
    words = audit.words
    templates = environment(folder_of(report), words=words)
    filled = sections_of(audit, report)
    waits = in_words(words, (wait for _, section in filled for wait in section.waits))
    numbers_of_tables = numbered(
        words, (table for _, section in filled for table in section.printed)
    )
    html = [
        templates.get_template(place.template).render(
            **section.context, waits=waits, number_of=numbers_of_tables
        )
        for place, section in filled
    ]
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
        title=f"{words(f'{TITLES[report]}.title')} - {cycle_name(audit)}",
        first=between(0, SECOND_SIDE),
        second=between(SECOND_SIDE, MORE),
        more=between(MORE, 100),
        figures=figures,
        tables=tables,
        footer=words("page.footer"),
    )
    return page(templates, body, cache_folder)


def sections_of(audit: AuditTables, report: str) -> list[tuple[Place, Section]]:
    """Return the sections of a report that have something to show, in their order."""
    with drawn_quickly():
        made = [(place, audit.once(place.content)) for place in places(report)]
    return [(place, section) for place, section in made if section is not None]

"""What a section of a report gives to its template, and how sections are found.

A section is a template ``reports/<report>/NN-name.html.jinja`` and a module
``pipeline.reported.sections.name`` with one function ``content``. The number says where
it stands: below 40 on the first printed side, below 60 on the second, the rest folded
away under "more".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

from pipeline.bundled import folder
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows
from pipeline.reported.printed import Printed

SECOND_SIDE = 40
MORE = 60


@dataclass(frozen=True)
class Wait:
    """Something that is not shown yet because too few cases are there.

    Attributes:
        what: key of its name in the words, below ``waits.what``.
        has: how many there are.
        needs: how many it takes.
        noun: what is counted, a key below ``count``.
        measure: label of the measure meant, where there are several.
    """

    what: str
    has: int
    needs: int
    noun: str
    measure: str = ""


@dataclass(frozen=True)
class Section:
    """What one section shows.

    Attributes:
        context: values for its template.
        figures: its charts.
        tables: rows the charts read, by the name they carry on the page.
        waits: what it does not show yet.
        printed: its tables that are also written as files.
    """

    context: Mapping[str, Any] = field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    tables: Mapping[str, Rows] = field(default_factory=dict)
    waits: tuple[Wait, ...] = ()
    printed: tuple[Printed, ...] = ()


Content = Callable[[AuditTables], Section | None]
"""A section's function; None leaves the section out."""


@dataclass(frozen=True)
class Place:
    """One numbered section of a report."""

    number: int
    template: str
    content: Content


def places(report: str) -> list[Place]:
    """Return the sections of a report in their order."""
    found = []
    for path in sorted((folder("reports") / report).glob("[0-9][0-9]-*.html.jinja")):
        number, _, name = path.name.removesuffix(".html.jinja").partition("-")
        module = import_module(f"pipeline.reported.sections.{name}")
        found.append(Place(int(number), path.name, module.content))
    return found


def folder_of(report: str) -> Path:
    """Return where the templates of a report are."""
    return folder("reports") / report

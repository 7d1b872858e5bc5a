"""All pages of a finished audit, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from pipeline.audit import Audit
from pipeline.errors import KeyProblem
from pipeline.records.codes import Codebook
from pipeline.records.phrases import counted
from pipeline.reported import build
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.overdue import FILE_NAME, write_overdue_recalls
from pipeline.reported.research import write_research_report
from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

Say = Callable[[str], None]


def write_reports(
    audit: Audit, settings: Settings, now: datetime, trainee: str | None, say: Say
) -> None:
    """Write the pages of a finished audit into reports/, and the list of overdue recalls.

    Args:
        audit: the audit folder; its audit.duckdb is complete.
        settings: its settings.
        now: when the reports are written.
        trainee: code of the trainee whose own page is wanted too, or None.
        say: told what was written.

    Raises:
        NoSuchTrainee: no student or resident has that code.
    """
    say("reporting")
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        into = audit.reports_folder
        tables = AuditTables(warehouse, now, title=settings.title)
        pages = [
            build.write_clinic_report(tables, into),
            build.write_programme_report(tables, into),
            build.write_circulated_report(tables, into),
            *build.write_lab_returns(tables, into),
            write_research_report(tables, into),
        ]
        if trainee is not None:
            own = AuditTables(warehouse, now, title=settings.title, trainee=trainee)
            pages.append(build.write_trainee_report(own, into))
        for line in build.summary_lines(warehouse):
            say(line)
        _list_overdue(audit, settings, warehouse, say)
    for page in filter(None, pages):
        say(f"report: {page}")


def _list_overdue(
    audit: Audit, settings: Settings, warehouse: Warehouse, say: Say
) -> None:
    try:
        numbers = Codebook(settings).numbers_behind("case")
        count = write_overdue_recalls(warehouse, audit.to_correct_folder, numbers)
    except PermissionError:
        say(f"{FILE_NAME} is open in another program; the old list was left.")
        return
    except KeyProblem:
        say(f"without the key no {FILE_NAME} can be written")
        return
    if count:
        say(
            f"{counted(count, 'recall')} overdue: to_correct/{FILE_NAME}"
            " (practice numbers; do not circulate)"
        )

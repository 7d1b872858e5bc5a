"""The stories: one short function per command, read from top to bottom.

No parsing here, and no heavy import before it is needed.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import audit as audits
from pipeline.errors import (
    EXIT_DONE,
    EXIT_NOTHING_READ,
    EXIT_SET_ASIDE,
    CannotPool,
    NoSuchTable,
    NothingToRead,
)
from pipeline.records.decisions import NAMELESS, NAMELESS_HINT
from pipeline.records.phrases import counted

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.records.loading import LoadReport
    from pipeline.settings import Settings

Say = Callable[[str], None]

STATE_WORDS = {
    "staged": "reading the cells",
    "checked": "checking",
    "measured": "measuring",
    "summarised": "summarising",
}


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a run is wished for.

    Attributes:
        cycle: name of an audit cycle, or None for all cases.
        is_strict: rows set aside, or a file that could not be read, are an error.
        trainee: code of the trainee whose own page is wanted, or None.
        is_to_freeze: write down what came out, for ``run_frozen`` to compare with.
    """

    cycle: str | None = None
    is_strict: bool = False
    trainee: str | None = None
    is_to_freeze: bool = False


def start(folder: Path, record_kinds: Sequence[str], say: Say) -> int:
    """Make an audit folder with settings, criteria, key and a template workbook."""
    from pipeline.records.template import write_template

    audit = audits.create_folder(folder)
    template = audit.records_folder / "records.xlsx"
    write_template(template, record_kinds)
    say(f"Made {audit.folder}")
    say(
        f"  fill in   {template.relative_to(audit.folder)} (or put your own files beside it)"
    )
    say("  settings  audit.toml; criteria, actions, requirements and comparisons .csv")
    say(f"  key       {audit.settings().key_file}")
    say(
        "records/ and records.duckdb are patient records: keep them on an encrypted, local disk."
    )
    say(
        "Back up the key and the folder apart; without the key, no new rows can be loaded."
    )
    caution = audits.warn_of_shared_place(audit.folder)
    if caution:
        say(caution)
    say(f"Then: plumbpost run {folder}")
    return EXIT_DONE


def run(folder: Path, up_to: str, wishes: Wishes, say: Say) -> int:
    """Load records/, make every table up to a state, and report when that is asked.

    Args:
        folder: the audit folder.
        up_to: records, checked, measured, summarised or reported.
        wishes: cycle and strictness.
        say: told what happens.
    """
    from pipeline.checked import engine

    audit = audits.open_folder(folder)
    settings = audit.settings()
    cycle = settings.cycle(wishes.cycle)
    with audits.locked(audit, f"plumbpost {up_to}"):
        if up_to != "records":
            engine.warm_up()
        report = _load(audit, settings, say)
        if up_to != "records" and audit.records_file.exists():
            from pipeline.running import make_audit

            made = "summarised" if up_to == "reported" else up_to
            make_audit(audit, settings, cycle, up_to=made, say=_say_state(say))
        if up_to == "reported":
            from pipeline.reported.writing import write_reports

            write_reports(audit, settings, datetime.now(UTC), wishes.trainee, say)
        if wishes.is_to_freeze:
            _freeze(audit, wishes.cycle, say)
    return _exit_code(audit, report, up_to, wishes, say)


def run_frozen(folder: Path, say: Say) -> int:
    """Make the tables of a frozen run again, without loading, and compare them."""
    from pipeline.checked import engine
    from pipeline.frozen import digests, read_frozen
    from pipeline.reported.writing import write_reports
    from pipeline.running import make_audit
    from pipeline.warehouse import Warehouse

    audit = audits.open_folder(folder)
    frozen = read_frozen(audit)
    frozen.refuse_other_software()
    settings = audit.settings()
    with audits.locked(audit, "plumbpost run --frozen"):
        engine.warm_up()
        make_audit(
            audit,
            settings,
            settings.cycle(frozen.cycle),
            up_to="summarised",
            say=_say_state(say),
            frozen=frozen,
        )
        with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as made:
            differing = frozen.differing(digests(made))
        now = datetime.combine(frozen.day, time.max, UTC)
        write_reports(audit, settings, now, None, say)
    if differing:
        say(f"not as frozen: {', '.join(differing)}")
        return EXIT_SET_ASIDE
    say(f"as frozen: all {len(frozen.tables)} tables, run {frozen.run_id[:8]}")
    return EXIT_DONE


def _freeze(audit: Audit, cycle: str | None, say: Say) -> None:
    from pipeline.frozen import FILE_NAME, write_frozen

    frozen = write_frozen(audit, cycle)
    say(f"frozen: {FILE_NAME}, run {frozen.run_id[:8]}; again with: {frozen.command}")


def _load(audit: Audit, settings: Settings, say: Say) -> LoadReport:
    from pipeline.records.loading import load_folder

    say("loading")
    report = load_folder(audit, settings, lambda line: say(f"  {line}"))
    for problem in report.problems:
        say(f"  {problem}")
    if report.seen_not_read:
        say(f"  seen, not read: {report.seen_not_read} (pictures, PDF, films)")
    if audit.is_pooled:
        _refuse_records_beside_exports(report)
    elif not report.count_in_use:
        raise NothingToRead(
            "No file in records/ could be read."
            if report.problems
            else "records/ holds no file with rows.",
            hint="The messages above say what is wrong with each."
            if report.problems
            else "Fill in the workbook there, or copy your own files into records/.",
        )
    return report


def _refuse_records_beside_exports(report: LoadReport) -> None:
    if report.count_in_use or report.problems:
        raise CannotPool(
            "A pooled audit reads the exports in pooled/ alone, and records/ holds files.",
            hint="Audit those records in a folder of their own, export, and pool again.",
        )


def _say_state(say: Say) -> Say:
    return lambda state: say(STATE_WORDS.get(state, state))


def _exit_code(
    audit: Audit, report: LoadReport, up_to: str, wishes: Wishes, say: Say
) -> int:
    count, count_cells = _count_held(audit) if up_to != "records" else (0, 0)
    aside = [f"{counted(count, 'row')} set aside"] if count else []
    if count_cells:
        aside.append(f"{counted(count_cells, 'row')} with a cell set aside")
    if aside:
        say(f"{' and '.join(aside)} for you to correct: plumbpost held {audit.folder}")
    if wishes.is_strict and report.problems:
        return EXIT_NOTHING_READ
    if wishes.is_strict and count:
        return EXIT_SET_ASIDE
    return EXIT_DONE


def _count_held(audit: Audit) -> tuple[int, int]:
    """Return the number of rows set aside, and of others with a cell set aside."""
    from pipeline.warehouse import Warehouse

    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        counts = warehouse.run(
            """select (select count(*) from checked.held), (
                select count(distinct c.row_id) from checked.cells_set_aside as c
                anti join checked.held as h on c.row_id = h.row_id)"""
        )[0]
    return int(counts[0]), int(counts[1])


def _checked_audit(folder: Path) -> tuple[Audit, Settings]:
    """Return audit and settings of a folder, refused where nothing has been checked yet."""
    audit = audits.open_folder(folder)
    settings = audit.settings()
    if not audit.audit_file.exists():
        raise NoSuchTable(
            f"Nothing has been checked yet in {audit.folder}.",
            hint=f"Load and check the records with: plumbpost run {folder}",
        )
    return audit, settings


def held(folder: Path, say: Say) -> int:
    """Write the workbook of rows set aside into to_correct/, for a person to correct."""
    from pipeline.checked.holding import write_held

    audit, settings = _checked_audit(folder)
    with audits.locked(audit, "plumbpost held"):
        written = write_held(audit, settings, command=f"plumbpost run {folder}")
    if written.is_behind:
        say(f"Rows were loaded after the last check; for them: plumbpost run {folder}")
    if written.path is None:
        say("No row is set aside; nothing was written.")
        return EXIT_DONE
    rows = counted(written.count_rows, "row")
    say(f"{rows} of {counted(written.count_cases, 'case')} to correct: {written.path}")
    if written.count_left:
        say(f"{written.count_left} more rows follow in the next workbook.")
    say("It contains practice numbers; do not circulate.")
    say(f"Correct the coloured cells, say why, save, then: plumbpost run {folder}")
    if not settings.lead.strip():
        say(f"Before that: {NAMELESS}. {NAMELESS_HINT}.")
    return EXIT_DONE


def accept(folder: Path, findings: Sequence[str], why: str, mend: str, say: Say) -> int:
    """Carry out what a person answers to findings, and write it into decisions.csv."""
    from pipeline.deciding import accept as answer

    audit, settings = _checked_audit(folder)
    with audits.locked(audit, "plumbpost accept"):
        answer(audit, settings, findings, why, mend, say)
    say(f"Written into decisions.csv. Then: plumbpost run {folder}")
    return EXIT_DONE


def show(folder: Path, table: str, file_format: str, say: Say) -> int:
    """Print one table to standard output, as table, csv, json or parquet."""
    from pipeline.showing import print_table

    audit = audits.open_folder(folder)
    is_records = table.startswith("records.")
    source = audit.records_file if is_records else audit.audit_file
    if not source.exists():
        raise NoSuchTable(
            f"There is no {source.name} yet in {audit.folder}.",
            hint=f"Make it with: plumbpost run {folder}",
        )
    print_table(audit, source, table, file_format, sys.stdout, say)
    return EXIT_DONE


def export(folder: Path, to: Path, k: int, relink: Path | None, say: Say) -> int:
    """Write the de-identified data set of an audit into a new folder."""
    from pipeline.sharing.taking_out import take_out

    audit = audits.open_folder(folder)
    to = to.resolve()
    relink = relink.resolve() if relink else None
    with audits.locked(audit, "plumbpost export"):
        taken = take_out(audit, audit.settings(), to, k=k, relink=relink)
    for table, count in taken.counts.items():
        say(f"  {table}: {counted(count, 'row')}")
    say(f"export: {to}")
    if taken.n_in_small_groups:
        say(
            f"in a group of fewer than {k}: {taken.n_in_small_groups} of"
            f" {counted(taken.n_patients, 'patient')}; look at groups.csv before you pass it on"
        )
    if relink is not None:
        say(f"{relink} leads the codes back: keep it here, never with the export.")
    return EXIT_DONE


def export_totals(folder: Path, to: Path, k: int, say: Say) -> int:
    """Write the totals of an audit, without a row of a patient, into a new folder."""
    from pipeline.sharing.totals import take_totals

    audit = audits.open_folder(folder)
    to = to.resolve()
    with audits.locked(audit, "plumbpost export --totals"):
        count = take_totals(audit, audit.settings(), to, k=k)
    say(
        f"export: {to} ({counted(count, 'line')} of totals, each of {k} patients or more)"
    )
    return EXIT_DONE


def pool(folder: Path, sources: Sequence[Path], say: Say) -> int:
    """Make one audit folder out of several centres' exports."""
    from pipeline.sharing.pooling import pool as pool_exports

    audit = pool_exports(folder, [source.resolve() for source in sources])
    say(f"Made {audit.folder} of {counted(len(sources), 'centre')}")
    say(f"Then: plumbpost run {folder}")
    return EXIT_DONE


def demo(folder: Path, say: Say) -> int:
    """Run the invented clinic from start to finish."""
    from pipeline.bundled import folder as bundled

    audit = audits.create_folder(folder, lead="quality lead of the invented clinic")
    say(f"The invented clinic, in {audit.folder}")
    for path in sorted((bundled("synthetic_data") / "clinic").iterdir()):
        shutil.copy(path, audit.records_folder)
    for path in sorted((bundled("synthetic_data") / "audit").iterdir()):
        shutil.copy(path, audit.folder)
    return run(folder, "reported", Wishes(), say)


def layout(file: Path, tab: str, ask: Callable[[str], str] | None, say: Say) -> int:
    """Propose a layout for a sheet that is not ours.

    Args:
        file: the file.
        tab: the tab to begin with; '' for the one that holds most.
        ask: asks one question at the keyboard; the layout is then written into the
            audit the file lies in. None prints the proposal to standard output.
        say: told what happens.
    """
    from pipeline.records.asking import ask_all, place_for
    from pipeline.records.proposing import propose

    proposal = propose(file, tab=tab)
    if ask is None:
        sys.stdout.write(proposal.text())
    else:
        audit = audits.audit_around(file)
        place = place_for(audit, proposal.name)
        ask_all(proposal, ask, say)
        place.write_text(proposal.text(), encoding="utf-8")
        say(f"layout: {place}")
        if audit is not None:
            say(f"Then: plumbpost run {audit.folder}")
    count = len(proposal.draft.questions)
    if count:
        say(f"{count} to confirm in it before it is used (see confirm in the layout)")
    return EXIT_DONE


def published(file: Path, say: Say) -> int:
    """Look over a table of published figures that is not ours."""
    from pipeline.reference.own_published import looked_over

    n_rows, sentences = looked_over(file)
    for sentence in sentences:
        sys.stdout.write(f"{sentence}\n")
    say(f"{counted(n_rows, 'row')}; {counted(len(sentences), 'thing')} to look at")
    return EXIT_SET_ASIDE if sentences else EXIT_DONE


def definitions(entry: str | None) -> int:
    """Print the definition of every number, or of one."""
    from pipeline.reported.definitions import definition_of, definitions_text

    sys.stdout.write(definition_of(entry) if entry else definitions_text())
    return EXIT_DONE

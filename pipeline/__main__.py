"""Parsing and exit codes only; what a command does stands in commands.py."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from pipeline import commands
from pipeline.errors import EXIT_INTERRUPTED, EXIT_USAGE, UserError
from pipeline.records.template_plan import record_kinds

FOLDER = click.Path(file_okay=False, path_type=Path)
RECORD_KINDS = record_kinds()
OF_CYCLE = click.option(
    "--cycle", default=None, help="Only cases operated in this cycle of audit.toml."
)
STRICT = click.option(
    "--strict",
    is_flag=True,
    help="Exit with 1 when rows were set aside, with 3 when a file could not be read.",
)
FEWEST_IN_TOTALS = 5
FIRST_COMMANDS = ("start", "run", "held")

CAUTION = """The figures support a quality review by licensed clinicians. They follow no
local code by themselves, are not a medical device, no basis for operating, and not
for advertising or blame."""


class Teaching(click.Group):
    """Shows the three commands everyone needs first, the others under "more"."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands, the first three first."""
        others = [
            name for name in super().list_commands(ctx) if name not in FIRST_COMMANDS
        ]
        return [*FIRST_COMMANDS, *others]

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """Write the commands in two parts."""
        rows = [
            (name, self.commands[name].get_short_help_str(90))
            for name in self.list_commands(ctx)
        ]
        for title, part in (
            ("Three commands first", rows[: len(FIRST_COMMANDS)]),
            ("More", rows[len(FIRST_COMMANDS) :]),
        ):
            with formatter.section(title):
                formatter.write_dl(part)


def say(line: str) -> None:
    """Talk to the person, on standard error; standard output is for data."""
    click.echo(line, err=True)


@click.group(
    cls=Teaching,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog=CAUTION,
)
@click.version_option(package_name="plumbpost", message="%(prog)s %(version)s")
def plumbpost() -> None:
    """Audit two-implant lower overdentures: did the guides deliver what was planned?

    Put the records you have (a workbook, csv files) into a folder, run, and read the
    page: planned against achieved, parallelism kept, cases to discuss, what is too few to
    say.

    \b
      plumbpost start myaudit --records cast,coordinates
      plumbpost run myaudit
      plumbpost held myaudit
    """  # noqa: D301 - click reads the backspace


def _kinds(_: click.Context, __: click.Parameter, text: str) -> list[str]:
    chosen = [
        kind.strip().replace("-", "_") for kind in text.split(",") if kind.strip()
    ]
    for kind in chosen:
        if kind not in RECORD_KINDS:
            wrong = f"{kind!r} is not one of: {', '.join(RECORD_KINDS)}."
            raise click.BadParameter(wrong)
    return list(dict.fromkeys(chosen))


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--records",
    "kinds",
    default="cast,coordinates",
    show_default=True,
    callback=_kinds,
    help="Which kinds of record you keep, with commas: "
    + ", ".join(RECORD_KINDS)
    + ".",
)
def start(folder: Path, kinds: list[str]) -> int:
    """Make an audit folder with a workbook to fill in.

    \b
    cast         sites measured on casts, pins, photographs, lab slips
    films        leans read from films
    ready        ready-made deviations from plan
    coordinates  planned and achieved points
    follow_up    dentures, visits, attachment events
    """  # noqa: D301 - click reads the backspace
    return commands.start(folder, kinds, say)


def _run_command(name: str, up_to: str, summary: str) -> Callable[..., Any]:
    @plumbpost.command(name, help=summary)
    @click.argument("folder", type=FOLDER)
    @OF_CYCLE
    @STRICT
    def one(folder: Path, cycle: str | None, strict: bool) -> int:  # noqa: FBT001 - click calls it
        return commands.run(folder, up_to, commands.Wishes(cycle, strict), say)

    return one


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@OF_CYCLE
@STRICT
@click.option(
    "--freeze",
    "is_to_freeze",
    is_flag=True,
    help="Write frozen.json: what the run was made of, and a digest of each table.",
)
@click.option(
    "--frozen",
    "is_frozen",
    is_flag=True,
    help="Load nothing; make the tables of frozen.json again and compare. Exit with 1 when "
    "a table differs.",
)
def run(
    folder: Path,
    cycle: str | None,
    strict: bool,  # noqa: FBT001 - click calls it
    is_to_freeze: bool,  # noqa: FBT001 - click calls it
    is_frozen: bool,  # noqa: FBT001 - click calls it
) -> int:
    """Load records/, check, measure, summarise and report."""
    if is_frozen and (cycle or strict or is_to_freeze):
        raise click.UsageError(
            "--frozen stands alone: it takes all else from frozen.json."
        )
    if is_frozen:
        return commands.run_frozen(folder, say)
    wishes = commands.Wishes(cycle, strict, is_to_freeze=is_to_freeze)
    return commands.run(folder, "reported", wishes, say)


_run_command("load", "records", "Load the files of records/, nothing more.")
_run_command("check", "checked", "As run, stopped after checking.")
_run_command("measure", "measured", "As run, stopped after measuring.")
_run_command("summarise", "summarised", "As run, stopped before the report.")


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@OF_CYCLE
@click.option(
    "--trainee",
    default=None,
    metavar="CODE",
    help="Write the page of this trainee too; the codes stand on programme.html.",
)
@STRICT
def report(folder: Path, cycle: str | None, trainee: str | None, strict: bool) -> int:  # noqa: FBT001 - click calls it
    """As run: everything is made again, then reported."""
    wishes = commands.Wishes(cycle, strict, trainee)
    return commands.run(folder, "reported", wishes, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER)
def held(folder: Path) -> int:
    """Write the rows set aside into a workbook, for you to correct."""
    return commands.held(folder, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@click.argument("table")
@click.option(
    "--format",
    "file_format",
    type=click.Choice(["table", "csv", "json", "parquet"]),
    default="table",
    show_default=True,
)
def show(folder: Path, table: str, file_format: str) -> int:
    """Print a table, such as measured.implants, to standard output."""
    return commands.show(folder, table, file_format, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@click.argument("findings", nargs=-1, required=True)
@click.option("--why", required=True, help="Your reason; kept with the decision.")
@click.option(
    "--mend",
    default="",
    metavar="NAME",
    help="Which mend, where several are proposed; none: put the rows of a mend back.",
)
def accept(folder: Path, findings: tuple[str, ...], why: str, mend: str) -> int:
    """Answer findings: points to be mended, a row that is gone, a file that is older.

    \b
    points that a mend brings back   its cells are changed; the row as it came is kept
    a planned range, such as 7-8     it is read as its middle; the row as it came is kept
    a row no longer in its file      it is used no more
    a file older than the last       it is used, and replaces the newer rows
    """  # noqa: D301 - click reads the backspace
    return commands.accept(folder, findings, why, mend, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER, default=Path("demo"))
def demo(folder: Path) -> int:
    """Run an invented clinic from start to finish."""
    return commands.demo(folder, say)


@plumbpost.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--tab", default="", help="The tab to begin with; else the fullest one.")
@click.option(
    "--ask",
    "is_asked",
    is_flag=True,
    help="Ask one question at a time, with sample cells, and write the layout into the "
    "audit that FILE lies in.",
)
def layout(file: Path, tab: str, is_asked: bool) -> int:  # noqa: FBT001 - click calls it
    """Propose how a sheet that is not ours maps onto ours, with reasons."""
    return commands.layout(file, tab, _asked if is_asked else None, say)


def _asked(line: str) -> str:
    return str(click.prompt(line, default="", show_default=False, err=True))


@plumbpost.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def published(file: Path) -> int:
    """Look over your own table of published figures for typing errors.

    FILE is a csv with the headings of the tables that come with plumbpost: key,
    citation, measure, statistic, value, source_status and, where known, sd, ci_low,
    ci_high, n_implants, n_patients and what kind of guides. Exit code 1 when something
    should be looked at.
    """
    return commands.published(file, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@click.argument("to", type=FOLDER)
@click.option(
    "--k",
    default=5,
    show_default=True,
    type=click.IntRange(min=2),
    help="Mark groups of fewer patients, who share what an outsider may know.",
)
@click.option(
    "--relink",
    default=None,
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Also write the list that leads the codes back, into FILE outside TO. Whoever "
    "holds it can undo the export; without this it is never written.",
)
@click.option(
    "--totals",
    "is_totals",
    is_flag=True,
    help="Sums over patients in place of rows, for a clinic that may not give rows: mean, "
    "interval, correlation and shares come out the same. Lines of fewer than --k patients are left out.",
)
def export(
    folder: Path,
    to: Path,
    k: int,
    relink: Path | None,
    is_totals: bool,  # noqa: FBT001 - click calls it
) -> int:
    """Write a de-identified data set into TO, a new folder.

    It holds the cases of the last run: of one cycle after plumbpost run --cycle NAME.

    \b
    csv/, parquet/    cases, implants, pairs, motions, dentures, visits, events
    dictionary.csv    every column: unit, meaning, what empty means, how it left
    datapackage.json  the same for programs (Frictionless Table Schema)
    groups.csv        how many patients share what an outsider may know
    manifest.json     hashes, rows, settings and conventions

    No date, age, name, number, device or free text goes out: days are counted from the
    surgery and every code is random, new with each export. Look at groups.csv before
    you pass the folder on: a rare combination can point at a person.
    """  # noqa: D301 - click reads the backspace
    if not is_totals:
        return commands.export(folder, to, k, relink, say)
    if k < FEWEST_IN_TOTALS:
        wrong = f"totals of fewer than {FEWEST_IN_TOTALS} patients are never written."
        raise click.BadParameter(wrong, param_hint="--k")
    if relink is not None:
        raise click.UsageError("Totals hold no codes that --relink could lead back.")
    return commands.export_totals(folder, to, k, say)


@plumbpost.command()
@click.argument("folder", type=FOLDER)
@click.argument(
    "sources",
    nargs=-1,
    required=True,
    metavar="FROM...",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
def pool(folder: Path, sources: tuple[Path, ...]) -> int:
    """Make one audit out of several clinics' exports.

    FOLDER is a new audit folder; each FROM is what `plumbpost export` wrote at a centre,
    unpacked: rows, or totals (export --totals) of a clinic that may not give rows. Exports that do not measure the same (another version or settings, another
    frame for leans, another entry point) are refused with the reasons. Then run the new
    folder as any audit; summarised.centres has each centre, summarised.centres_pooled
    all of them together.
    """
    return commands.pool(folder, sources, say)


@plumbpost.command()
@click.argument("entry", required=False)
def definitions(entry: str | None) -> int:
    """Print the definition of every number, or of one."""
    return commands.definitions(entry)


def main() -> None:
    """Run the command line; a user's mistake gets a sentence, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        code = plumbpost.main(standalone_mode=False)
    except UserError as error:
        say(f"plumbpost: {error}")
        code = error.exit_code
    except click.ClickException as error:
        error.show()
        code = EXIT_USAGE
    except (KeyboardInterrupt, click.Abort):
        say("plumbpost: interrupted; nothing is half loaded.")
        code = EXIT_INTERRUPTED
    sys.exit(code)


if __name__ == "__main__":
    main()

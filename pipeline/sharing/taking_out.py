"""Write a de-identified data set out of an audit, all of it or nothing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import ExportPlace, NoSuchTable
from pipeline.records.neutral import for_csv_sql
from pipeline.sharing import describing
from pipeline.sharing.columns import FLAG, all_columns, exported
from pipeline.sharing.conventions import conventions_of
from pipeline.sharing.extract import Extract, extracted
from pipeline.sharing.fresh_codes import fresh_code
from pipeline.warehouse import Warehouse, named

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.settings import Settings

FORMAT = "plumbpost export 1"
"""What the manifest of an export says it is."""

RELINK_HEAD = ("what", "code_of_the_export", "code_of_the_audit")


@dataclass(frozen=True, slots=True)
class TakenOut:
    """What was written.

    Attributes:
        counts: rows of each table.
        n_patients: persons in it.
        n_in_small_groups: persons who share what may be known outside with fewer than k.
    """

    counts: dict[str, int]
    n_patients: int
    n_in_small_groups: int


def take_out(
    audit: Audit, settings: Settings, to: Path, *, k: int, relink: Path | None
) -> TakenOut:
    """Write the data set of an audit into a new folder.

    Args:
        audit: the audit, summarised.
        settings: its settings.
        to: the new folder; it is not there, or empty.
        k: patients a group should have at least.
        relink: where the list that leads the codes back is written; None for no list.

    Raises:
        ExportPlace: ``to`` or ``relink`` is no place for it; nothing was written.
        NoSuchTable: the audit is not summarised.
    """
    refuse_place(audit, to)
    if relink is not None:
        _refuse_relink(audit, to, relink)
    with (
        summarised(audit) as (warehouse, run),
        extracted(warehouse, k) as extract,
        built(audit, to) as folder,
    ):
        counts = _write_tables(extract, folder)
        rows = describing.dictionary_rows(k)
        describing.write_csv(
            folder / "dictionary.csv", describing.DICTIONARY_HEAD, rows
        )
        describing.write_csv(
            folder / "groups.csv",
            describing.group_head(),
            describing.group_rows(extract),
        )
        described = describing.descriptor(folder, rows, run["version"])
        describing.write_json(folder / "datapackage.json", described)
        words = describing.read_me(run, k, counts)
        (folder / "READ_ME.md").write_text(words, encoding="utf-8", newline="\n")
        said = {"content": "rows", "k": k, "rows": counts}
        write_manifest(folder, warehouse, settings, run, said)
        if relink is not None:
            _write_relink(relink, extract)
        n, n_small = warehouse.run(
            f"select count(distinct patient_code), count(distinct patient_code)"
            f" filter ({FLAG}) from ({extract.select('cases')})"
        )[0]
    return TakenOut(counts, int(n), int(n_small))


def _write_tables(extract: Extract, folder: Path) -> dict[str, int]:
    for kind in ("csv", "parquet"):
        (folder / kind).mkdir()
    counts = {}
    for table, columns in exported().items():
        select = extract.select(table)
        texts = ", ".join(
            f"{for_csv_sql(named(column.name))} as {named(column.name)}"
            for column in columns
            if column.type == "string"
        )
        neutral = f"select * replace ({texts}) from ({select})"
        of_csv = folder / "csv" / f"{table}.csv"
        of_parquet = folder / "parquet" / f"{table}.parquet"
        extract.warehouse.copy_out(neutral, of_csv, "csv, header")
        extract.warehouse.copy_out(select, of_parquet, "parquet")
        counts[table] = extract.count(table)
    return counts


def write_manifest(
    folder: Path,
    warehouse: Warehouse,
    settings: Settings,
    run: Mapping[str, str],
    said: Mapping[str, Any],
) -> None:
    """Write manifest.json over every file that stands in the folder.

    Args:
        folder: the export, complete but for its manifest.
        warehouse: the audit.
        settings: its settings.
        run: its run id and version.
        said: what else the manifest states.
    """
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    files = {
        path.relative_to(folder).as_posix(): {
            "sha256": describing.sha256(path),
            "bytes": path.stat().st_size,
        }
        for path in paths
    }
    heeded = ("superimposing", "room", "allowance", "follow_up", "plan_rules")
    manifest = {
        "format": FORMAT,
        **said,
        "centre_code": fresh_code(),
        "version": run["version"],
        "run_id": run["run_id"],
        "conventions": conventions_of(warehouse, settings),
        "settings": {
            "merge_sources": settings.merge_sources,
            "depth_margin_mm": settings.depth_margin_mm,
            **{name: asdict(getattr(settings, name)) for name in heeded},
        },
        "files": files,
    }
    describing.write_json(folder / "manifest.json", manifest)


@contextmanager
def summarised(audit: Audit) -> Iterator[tuple[Warehouse, dict[str, str]]]:
    """Open a summarised audit, read-only, with its run id and version.

    Raises:
        NoSuchTable: it is not summarised, or by another version.
    """
    hint = f"Make it with: plumbpost summarise {audit.folder}"
    if not audit.audit_file.exists():
        raise NoSuchTable(f"Nothing is measured yet in {audit.folder}.", hint=hint)
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        state, run_id, version = warehouse.run(
            "select state, run_id, version from audit.run"
        )[0]
        if state != "summarised":
            raise NoSuchTable(
                f"The last run of {audit.folder} stopped at {state}.", hint=hint
            )
        if any(
            {c.column for c in all_columns() if c.source == source}
            - {name for name, _ in warehouse.columns(source)}
            for source in {c.source for c in all_columns()}
        ):
            raise NoSuchTable(
                f"The last run of {audit.folder} was made by another version of plumbpost.",
                hint=hint,
            )
        yield warehouse, {"run_id": run_id, "version": version}


@contextmanager
def built(audit: Audit, to: Path) -> Iterator[Path]:
    """Give a folder to write into; it becomes ``to`` when all of it is written.

    The open database writes inside the audit alone, so the files are made there, moved
    beside ``to`` and renamed: ``to`` is never there half.
    """
    inside = audit.tmp / "export"
    beside = to.with_name(f".{to.name}.{fresh_code()}")
    shutil.rmtree(inside, ignore_errors=True)
    try:
        inside.mkdir(parents=True)
        yield inside
        shutil.move(inside, beside)
        if to.exists():
            to.rmdir()
        beside.rename(to)
    except OSError as error:
        raise ExportPlace(
            f"{to} could not be written: {error.strerror or 'the file system refused'}.",
            hint="Choose another folder, with room and the right to write.",
        ) from None
    finally:
        for left_over in (inside, beside):
            shutil.rmtree(left_over, ignore_errors=True)


def refuse_place(audit: Audit, to: Path) -> None:
    """Refuse a place that no export may be written to.

    Raises:
        ExportPlace: something is there, its parent is not, or it lies in the audit.
    """
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise ExportPlace(
            f"{to} is there already and is not empty.",
            hint="Name a new folder; export never writes over anything.",
        )
    if not to.parent.is_dir():
        raise ExportPlace(f"There is no folder {to.parent} to write {to.name} into.")
    if to.is_relative_to(audit.folder):
        raise ExportPlace(
            f"{to} lies in the audit folder, among patient records.",
            hint="Name a folder outside it, so that only the export is passed on.",
        )


def _refuse_relink(audit: Audit, to: Path, relink: Path) -> None:
    if relink.is_relative_to(to):
        raise ExportPlace(
            "The list that leads codes back may not lie in the export.",
            hint=f"Keep it apart, such as in {audit.to_correct_folder}.",
        )
    if relink.exists():
        raise ExportPlace(f"{relink} is there already.", hint="Name a new file.")
    if not relink.parent.is_dir():
        raise ExportPlace(f"There is no folder {relink.parent} for the list.")


def _write_relink(path: Path, extract: Extract) -> None:
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    rows = [
        (kind, code, key)
        for kind, codes in extract.codes.items()
        for key, code in sorted(codes.items(), key=lambda pair: pair[1])
    ]
    describing.write_csv(path, RELINK_HEAD, rows)

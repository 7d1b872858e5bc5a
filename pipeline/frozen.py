"""A frozen run: the same records, settings and software give the same tables again.

``run --freeze`` writes ``frozen.json``: what the run was made of, and for each table its
number of rows and a digest of its values. ``run --frozen`` reads no file of ``records/``,
makes the tables again from ``records.duckdb`` as it is and compares. No key is needed, so
a copy of the folder can be run again on another machine.

What the list of codes shows about numbers (``checked.number_signs``: codes and counts, no
number) is written down too, since that list stays on the machine of the clinic.

A digest is the sum of the hashes of the rows, so their order does not count; numbers are
rounded to nine decimals first, since sums over threads may differ beyond.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from pipeline.audit import Audit
from pipeline.checked.number_signs import MADE_HERE
from pipeline.errors import NotAsFrozen, NothingFrozen
from pipeline.versions import software
from pipeline.warehouse import Warehouse, named

FILE_NAME = "frozen.json"
DECIMALS = 9
OF_THE_CLOCK = "audit.run"
"""The one table that holds the moment of the run, and so is not compared."""


@dataclass(frozen=True, slots=True)
class Frozen:
    """What a run was made of, and what came out.

    Attributes:
        command: how the run is made again, in the audit folder's parent.
        run_id: hash of records, settings, own files and version.
        run_date: the day that counted as today, ISO 8601.
        cycle: name of the audit cycle; None: all cases.
        software: version by name, as :func:`pipeline.versions.software`.
        tables: number of rows and digest by ``schema.table``.
        signs: rows of the tables made from the list of codes, by ``schema.table``.
    """

    command: str
    run_id: str
    run_date: str
    cycle: str | None
    software: Mapping[str, str]
    tables: Mapping[str, list[str]]
    signs: Mapping[str, Sequence[Mapping[Any, Any]]]

    @property
    def day(self) -> date:
        """The day that counted as today."""
        return date.fromisoformat(self.run_date)

    def refuse_other_software(self) -> None:
        """Refuse to compare what other software would make.

        Raises:
            NotAsFrozen: a version differs; names each.
        """
        here = software()
        other = [
            f"{name} {wanted} (here {here.get(name, 'none')})"
            for name, wanted in self.software.items()
            if here.get(name) != wanted
        ]
        if other:
            raise NotAsFrozen(
                f"{FILE_NAME} was written with other software: {', '.join(other)}.",
                hint="Make an environment with these versions (requirements.lock of that "
                "release and that Python), or freeze again with: plumbpost run --freeze",
            )

    def refuse_other_inputs(self, run_id: str) -> None:
        """Refuse to compare what other records or settings would make.

        Raises:
            NotAsFrozen: the run id differs.
        """
        if run_id != self.run_id:
            raise NotAsFrozen(
                f"The records or settings are not those of {FILE_NAME}: "
                f"run {run_id[:8]}, frozen was {self.run_id[:8]}.",
                hint="Something was loaded, answered or set since. Take the copy of the folder "
                "that belongs to it, or freeze again with: plumbpost run --freeze",
            )

    def differing(self, now: Mapping[str, list[str]]) -> list[str]:
        """Return the tables that are not as they were, or are there no more, sorted."""
        names = {*self.tables, *now}
        return sorted(n for n in names if self.tables.get(n) != now.get(n))


def digests(warehouse: Warehouse) -> dict[str, list[str]]:
    """Return number of rows and digest of every table but the one of the clock."""
    return {
        table: _digest(warehouse, table)
        for table in warehouse.tables()
        if table != OF_THE_CLOCK
    }


def _digest(warehouse: Warehouse, table: str) -> list[str]:
    cells = ", ".join(
        f"coalesce({_cell(named(column), kind)}, '')"
        for column, kind in warehouse.columns(table)
    )
    row = f"concat_ws(chr(31), {cells})"
    count, low, high = warehouse.run(
        f"""select count(*), coalesce(sum(md5_number_lower({row})::hugeint), 0),
            coalesce(sum(md5_number_upper({row})::hugeint), 0) from {table}"""
    )[0]
    return [str(count), f"{int(high):x}.{int(low):x}"]


def _cell(column: str, kind: str) -> str:
    """Return the text of a cell; -0 is 0, and null is not the empty text."""
    if kind in {"DOUBLE", "FLOAT"}:
        return f"'=' || (round({column}, {DECIMALS}) + 0.0)::varchar"
    return f"'=' || {column}::varchar"


def write_frozen(audit: Audit, cycle: str | None) -> Frozen:
    """Write frozen.json of the last run.

    Args:
        audit: the audit folder; its audit.duckdb is complete.
        cycle: name of the cycle it was made of; None: all cases.
    """
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        ((run_id, day),) = warehouse.run("select run_id, run_date from audit.run")
        frozen = Frozen(
            command=f"plumbpost run {audit.folder.name} --frozen",
            run_id=run_id,
            run_date=day.isoformat(),
            cycle=cycle,
            software=software(),
            tables=digests(warehouse),
            signs={
                table: warehouse.frame(f"from {table} order by all").to_dict("records")
                for table in MADE_HERE
            },
        )
    path = audit.folder / FILE_NAME
    unfinished = path.with_suffix(".json.new")
    unfinished.write_text(json.dumps(asdict(frozen), indent=1) + "\n", encoding="utf-8")
    unfinished.replace(path)
    return frozen


def read_frozen(audit: Audit) -> Frozen:
    """Read frozen.json.

    Raises:
        NothingFrozen: there is none, or it is not one of ours.
    """
    path = audit.folder / FILE_NAME
    try:
        said: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return Frozen(**said)
    except FileNotFoundError:
        raise NothingFrozen(
            f"There is no {FILE_NAME} in {audit.folder}.",
            hint=f"Write it with: plumbpost run {audit.folder.name} --freeze",
        ) from None
    except (ValueError, TypeError):
        raise NothingFrozen(
            f"{path} cannot be read as a frozen run.",
            hint="Restore it from your copy, or freeze again.",
        ) from None

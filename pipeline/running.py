"""From records.duckdb to a complete audit.duckdb, written beside the old one.

Nothing is incremental: a run makes everything again into ``audit.duckdb.new`` and
renames it over the old file when it is complete, so that reading during a run and a run
killed at any moment both leave the last complete audit in place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from pipeline.audit import Audit
from pipeline.errors import Busy
from pipeline.frozen import Frozen
from pipeline.own_files import OWN_FILES, read_own_files
from pipeline.records.meshes import MESHES
from pipeline.records.registration_files import REGISTRATIONS
from pipeline.reference import load
from pipeline.settings import Cycle, Settings
from pipeline.versions import our_version
from pipeline.warehouse import Warehouse


def make_audit(
    audit: Audit,
    settings: Settings,
    cycle: Cycle,
    *,
    up_to: str,
    say: Callable[[str], None],
    frozen: Frozen | None = None,
) -> None:
    """Make audit.duckdb again up to a state.

    Args:
        audit: the audit folder; its records.duckdb must exist.
        settings: its settings.
        cycle: the cases that count.
        up_to: the last state to make: checked, measured or summarised.
        say: told each state as it begins.
        frozen: the run to be made again; its day counts as today.

    Raises:
        NotAsFrozen: records or settings are not those of the frozen run.
    """
    from pipeline import stages, tables
    from pipeline.sharing.pooling import (
        given_totals,
        pooled_files_sha256,
        pooled_tables,
    )

    today = frozen.day if frozen else datetime.now().astimezone().date()

    own_files = read_own_files(audit)
    new = audit.new_audit_file
    for left_over in (new, Path(f"{new}.wal")):
        left_over.unlink(missing_ok=True)
    audit.empty_tmp()
    attach = {"records": audit.records_file}
    with Warehouse(new, root=audit.folder, attach=attach) as warehouse:
        for path in load.FOLDER.glob("*.csv"):
            _make_reference(warehouse, path.stem, load.rows(path.stem))
        for name, said in own_files.items():
            _make_reference(warehouse, name, said, OWN_FILES[name])
        for name, rows, columns in given_totals(audit):
            _make_reference(warehouse, name, rows, columns)
        tables.add_macros(warehouse)
        own = (*own_files.values(), *pooled_files_sha256(audit))
        run_id = _run_id(warehouse, settings, cycle, own)
        if frozen:
            frozen.refuse_other_inputs(run_id)
        _note_run(warehouse, run_id, cycle, up_to, today)
        parameters = _parameters(settings, cycle, today)
        parameters["kept_signs"] = frozen.signs if frozen else None
        known = stages.known_tables() | pooled_tables(audit)
        tables.build(warehouse, known, parameters, up_to=up_to, say=say)
    _put_in_place(new, audit.audit_file)


def _put_in_place(new: Path, old: Path) -> None:
    try:
        new.replace(old)
    except PermissionError:
        raise Busy(
            f"{old.name} is open in another program, so the new run could not take its place.",
            hint=f"Close the notebook or viewer that has it open and run again; the new run is "
            f"kept as {new.name} until then.",
        ) from None


def _parameters(settings: Settings, cycle: Cycle, today: date) -> dict[str, Any]:
    from pipeline.staged.problems import allowed_words

    before = settings.cycle_before(cycle)
    return {
        "settings": settings,
        "run_date": today,
        "cycle_from": cycle.first_day,
        "cycle_to": cycle.last_day,
        "last_cycle": before.name if before else None,
        "last_from": before.first_day if before else None,
        "last_to": before.last_day if before else None,
        "depth_margin_mm": settings.depth_margin_mm,
        "site_rule_mm": settings.plan_rules.site_rule_mm,
        "axis_rule": settings.plan_rules.axis_rule or None,
        **settings.superimposing.parameters(),
        **settings.room.parameters(),
        **settings.allowance.parameters(),
        **settings.follow_up.parameters(),
        **allowed_words(),
    }


def _make_reference(
    warehouse: Warehouse,
    name: str,
    rows: tuple[dict[str, str], ...] | list[dict[str, str]],
    columns: tuple[str, ...] = (),
) -> None:
    import pandas as pd

    names = list(columns) or list(rows[0])
    frame = pd.DataFrame(list(rows), columns=names)
    select = ", ".join(f'"{column}"::varchar as "{column}"' for column in names)
    warehouse.make_from_frame(f"reference.{name}", frame, select)


def _run_id(warehouse: Warehouse, settings: Settings, cycle: Cycle, own: Any) -> str:
    """Return a hash of all that the figures are made of; no clock in it."""
    names = {name for name, _ in warehouse.columns("records.loads")}
    layout = "coalesce(layout_sha256, '')" if "layout_sha256" in names else "''"
    loads = warehouse.run(
        f"select load_no, source, sheet, file_sha256, {layout} from records.loads"
        " order by load_no"
    )
    files = [
        warehouse.run(
            f"select file, file_sha256 from records.{kind.table} order by {kind.number}"
        )
        for kind in (MESHES, REGISTRATIONS)
    ]
    answered = warehouse.run(
        """select because, count(*), sum(row_id) from records.rows_not_in_use group by because
        union all select finding_id, 0, 0 from records.accepted order by all"""
    )
    heeded = (
        settings.merge_sources,
        settings.depth_margin_mm,
        settings.plan_rules,
        settings.pool_keys,
        settings.superimposing,
        settings.room,
        settings.play,
        settings.allowance,
        settings.follow_up,
        settings.programme,
        settings.cycle_before(cycle),
    )
    said = (loads, files, answered, heeded, cycle, own, our_version())
    return hashlib.sha256(repr(said).encode()).hexdigest()[:16]


def _note_run(
    warehouse: Warehouse, run_id: str, cycle: Cycle, up_to: str, today: date
) -> None:
    chosen = f' --cycle "{cycle.name}"' if cycle.first_day else ""
    warehouse.make(
        "audit.run",
        """select $run_id::varchar as run_id, $version::varchar as version,
            $run_at::timestamp as run_at, $run_date::date as run_date,
            $command::varchar as command, $cycle::varchar as cycle,
            $cycle_from::date as cycle_from, $cycle_to::date as cycle_to,
            $state::varchar as state""",
        {
            "run_id": run_id,
            "version": our_version(),
            "run_at": datetime.now(UTC).replace(tzinfo=None, microsecond=0),
            "run_date": today,
            "command": f"plumbpost run DIR{chosen}",
            "cycle": cycle.name,
            "cycle_from": cycle.first_day,
            "cycle_to": cycle.last_day,
            "state": up_to,
        },
    )
    columns = [
        r["column"] for r in load.rows("columns") if r["table"] == "audit.sources"
    ]
    warehouse.make("audit.sources", f"select {', '.join(columns)} from records.loads")

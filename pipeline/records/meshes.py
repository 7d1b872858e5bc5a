"""Implant bodies given as meshes: the files that rows name, each fitted once.

A row names its mesh by its path below records/. What was fitted is kept in records.duckdb
as a fact of that file's content, so that an audit can be made again without the file; a
file that changes is fitted again, and the last fit counts.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from pipeline.records.child import run_child

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

TABLE = """create table if not exists mesh_fits (
    fit_no integer, file varchar, file_sha256 varchar, failure varchar,
    one_x_mm double, one_y_mm double, one_z_mm double,
    two_x_mm double, two_y_mm double, two_z_mm double,
    radius_mm double, residual_mm double)"""
"""One row a content a named file had; the ends of a body as one and two, in no order."""

FIELDS = ("planned_mesh", "achieved_mesh")
FILE_FIELDS = frozenset(FIELDS)
"""Fields whose cells are the names of files."""
ENDING = ".stl"
MOST_BYTES = 200_000_000
AT_A_TIME = 20
"""Meshes to one process: starting one costs more than fitting many."""

CHILD = "pipeline.records.mesh_child"
Fit = dict[str, Any]


def fit_meshes(store: Warehouse, root: Path, say: Callable[[str], None]) -> set[Path]:
    """Fit every mesh that a row in use names and that is new or has changed.

    Args:
        store: records.duckdb, open for loading.
        root: the folder records/.
        say: told how many were fitted.

    Returns:
        The files below records/ that rows name.
    """
    names = _names(store)
    known = _known(store)
    files = {name: path for name in names if (path := _below(root, name)) is not None}
    fits: dict[str, Fit] = {}
    to_fit: dict[str, Path] = {}
    for name in names:
        digest = _sha256(files[name]) if name in files else ""
        if not digest and name not in known:
            fits[name] = {"failure": "missing"}
        elif digest and known.get(name) != digest:
            fits[name] = {"file_sha256": digest, **_refusal(files[name])}
            if "failure" not in fits[name]:
                to_fit[name] = files[name]
    for name, fit in zip(to_fit, _fitted(list(to_fit.values())), strict=True):
        fits[name] |= fit
    if fits:
        with store.transaction():
            _keep(store, fits)
    if to_fit:
        say(f"{len(to_fit)} meshes of implants read")
    return set(files.values())


def _names(store: Warehouse) -> list[str]:
    every = " union ".join(
        f"""select trim(r.{field}) as name from implants as r
        anti join rows_not_in_use as u on r.row_id = u.row_id
        where trim(r.{field}) <> ''"""
        for field in FIELDS
    )
    return [name for (name,) in store.run(f"{every} order by name")]


def _known(store: Warehouse) -> Mapping[str, str]:
    return dict(
        store.run(
            """select file, coalesce(arg_max(file_sha256, fit_no), '')
            from mesh_fits group by file"""
        )
    )


def _below(root: Path, name: str) -> Path | None:
    """Return the file a row names, where it lies below records/ and is no link."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if any(part in {"..", "/"} or ":" in part for part in parts):
        return None
    path = root.joinpath(*parts)
    try:
        is_inside = path.resolve().is_relative_to(root.resolve())
        return path if is_inside and path.is_file() else None
    except (OSError, ValueError):
        return None


def _sha256(path: Path) -> str:
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError:
        return ""


def _refusal(path: Path) -> Fit:
    if path.suffix.lower() != ENDING or path.stat().st_size > MOST_BYTES:
        return {"failure": "unreadable"}
    return {}


def _fitted(paths: Sequence[Path]) -> Iterator[Fit]:
    """Yield what was fitted, file by file; one that ends its process is left out."""
    todo = [str(path.resolve()) for path in paths]
    while todo:
        batch = todo[:AT_A_TIME]
        output, is_whole = run_child(CHILD, batch)
        lines = [line for line in output.split(b"\n")[:-1] if line]
        yield from map(json.loads, lines)
        todo = todo[len(lines) :]
        if not lines:
            # the first of the batch ended it
            yield {"failure": "unreadable"}
            todo = todo[1:]
        elif is_whole and len(lines) < len(batch):
            raise RuntimeError("the mesh process left files out")


def _keep(store: Warehouse, fits: Mapping[str, Fit]) -> None:
    first = int(store.value("select coalesce(max(fit_no), 0) + 1 from mesh_fits"))
    rows: list[Any] = []
    for number, (name, fit) in enumerate(fits.items(), start=first):
        ends = fit.get("ends") or [[None] * 3] * 2
        rows += [
            number,
            name,
            fit.get("file_sha256"),
            fit["failure"],
            *ends[0],
            *ends[1],
        ]
        rows += [fit.get("radius_mm"), fit.get("residual_mm")]
    marks = ", ".join(f"({', '.join('?' * 12)})" for _ in fits)
    store.run(f"insert into mesh_fits values {marks}", rows)

"""Files beside the sheets that rows name, each read once in a process of its own.

A row names its file by its path below records/. What was read is kept in records.duckdb
as a fact of that file's content, so that an audit can be made again without the file; a
file that changes is read again, and the last reading counts.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from pipeline.records.child import run_child

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

Reading = dict[str, Any]
"""What a child said of a file: ``failure``, empty where it could be read, and values."""


@dataclass(frozen=True, slots=True)
class NamedFiles:
    """One kind of file that rows name.

    Attributes:
        sheet: the record sheet whose rows name it.
        fields: the fields that hold the name.
        table: the table of readings in records.duckdb.
        number: its first column, which counts the readings; ``file``, ``file_sha256``
            and ``failure`` follow it.
        figures: the columns after those, each a number of the reading or null.
        endings: endings such a file can have.
        most_bytes: a larger file is not read.
        child: module of the process that reads; it prints one JSON line a file.
        at_a_time: files to one process: starting one costs more than reading many.
    """

    sheet: str
    fields: tuple[str, ...]
    table: str
    number: str
    figures: tuple[str, ...]
    endings: frozenset[str]
    most_bytes: int
    child: str
    at_a_time: int

    @property
    def create_table(self) -> str:
        """SQL that makes the table of readings where it is not there."""
        values = ", ".join(f"{name} double" for name in self.figures)
        return (
            f"create table if not exists {self.table} ({self.number} integer,"
            f" file varchar, file_sha256 varchar, failure varchar, {values})"
        )


def read_named(store: Warehouse, root: Path, kind: NamedFiles) -> tuple[set[Path], int]:
    """Read every file of a kind that a row in use names and that is new or has changed.

    Args:
        store: records.duckdb, open for loading.
        root: the folder records/.
        kind: the kind of file.

    Returns:
        The files below records/ that rows name, and how many were read now.
    """
    names = _names(store, kind)
    known = _known(store, kind)
    files = {name: path for name in names if (path := _below(root, name)) is not None}
    readings: dict[str, Reading] = {}
    to_read: dict[str, Path] = {}
    for name in names:
        digest = _sha256(files[name]) if name in files else ""
        if not digest and name not in known:
            readings[name] = {"failure": "missing"}
        elif digest and known.get(name) != digest:
            readings[name] = {"file_sha256": digest}
            if _is_of_kind(files[name], kind):
                to_read[name] = files[name]
            else:
                readings[name]["failure"] = "unreadable"
    for name, reading in zip(to_read, _read(list(to_read.values()), kind), strict=True):
        readings[name] |= reading
    if readings:
        with store.transaction():
            _keep(store, readings, kind)
    return set(files.values()), len(to_read)


def _names(store: Warehouse, kind: NamedFiles) -> list[str]:
    every = " union ".join(
        f"""select trim(r.{field}) as name from {kind.sheet} as r
        anti join rows_not_in_use as u on r.row_id = u.row_id
        where trim(r.{field}) <> ''"""
        for field in kind.fields
    )
    return [name for (name,) in store.run(f"{every} order by name")]


def _known(store: Warehouse, kind: NamedFiles) -> Mapping[str, str]:
    return dict(
        store.run(
            f"""select file, coalesce(arg_max(file_sha256, {kind.number}), '')
            from {kind.table} group by file"""
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


def _is_of_kind(path: Path, kind: NamedFiles) -> bool:
    is_named_so = path.suffix.lower() in kind.endings
    return is_named_so and path.stat().st_size <= kind.most_bytes


def _read(paths: Sequence[Path], kind: NamedFiles) -> Iterator[Reading]:
    """Yield what was read, file by file; one that ends its process is left out."""
    todo = [str(path.resolve()) for path in paths]
    while todo:
        batch = todo[: kind.at_a_time]
        output, is_whole = run_child(kind.child, batch)
        lines = [line for line in output.split(b"\n")[:-1] if line]
        yield from map(json.loads, lines)
        todo = todo[len(lines) :]
        if not lines:
            # the first of the batch ended it
            yield {"failure": "unreadable"}
            todo = todo[1:]
        elif is_whole and len(lines) < len(batch):
            raise RuntimeError(f"{kind.child} left files out")


def _keep(store: Warehouse, readings: Mapping[str, Reading], kind: NamedFiles) -> None:
    first = int(
        store.value(f"select coalesce(max({kind.number}), 0) + 1 from {kind.table}")
    )
    rows: list[Any] = []
    for number, (name, reading) in enumerate(readings.items(), start=first):
        rows += [number, name, reading.get("file_sha256"), reading["failure"]]
        rows += [reading.get(value) for value in kind.figures]
    one = f"({', '.join('?' * (4 + len(kind.figures)))})"
    marks = ", ".join(one for _ in readings)
    store.run(f"insert into {kind.table} values {marks}", rows)

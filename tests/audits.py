"""Make audits out of a few lines of text, through the same doors as a user."""

import os
import subprocess
import sys
from pathlib import Path

from pipeline import audit as audits
from pipeline import commands
from pipeline.warehouse import Warehouse

COORDINATES = [
    f"{state}_{point}_{axis}_mm"
    for state in ("planned", "achieved")
    for point in ("entry", "apex")
    for axis in "xyz"
]


def quiet(_: str) -> None:
    """Say nothing."""


def fill(folder: Path, files: dict[str, str | bytes]) -> None:
    """Write files into records/ of an audit folder."""
    for name, content in files.items():
        path = folder / "records" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        is_text = isinstance(content, str)
        path.write_bytes(content.encode() if is_text else content)


def audit_of(
    folder: Path, files: dict[str, str | bytes], *, up_to: str = "measured"
) -> Path:
    """Make an audit folder, put files into it and run it up to a state."""
    audits.create_folder(folder)
    fill(folder, files)
    commands.run(folder, up_to, commands.Wishes(), quiet)
    return folder


def opened(folder: Path) -> Warehouse:
    """Open what a run made, read-only."""
    return Warehouse(folder / "audit.duckdb", root=folder, read_only=True)


def records_of(folder: Path) -> Warehouse:
    """Open the rows as received, read-only."""
    return Warehouse(folder / "records.duckdb", root=folder, read_only=True)


def plumbpost(*words: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run the command line as a user would, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, **more},
        check=False,
    )


def implants_csv(rows: list[dict[str, object]]) -> str:
    """Return an implants sheet; every row needs case_id, side or tooth, and points."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    lines = [",".join(names)]
    lines += [",".join(str(row.get(name, "")) for name in names) for row in rows]
    return "\n".join(lines) + "\n"


def invoke(capsys, *words: str) -> tuple[int, str, str]:
    """Run the command line in this process; return exit code, stdout, stderr."""
    from unittest.mock import patch

    from pipeline.__main__ import main

    capsys.readouterr()
    with patch.object(sys, "argv", ["plumbpost", *map(str, words)]):
        try:
            main()
        except SystemExit as stop:
            code = int(stop.code or 0)
    said = capsys.readouterr()
    return code, said.out, said.err

"""A process that reads one foreign binary file under limits, and then ends.

A damaged or hostile file can make a reader eat all memory, never end, or end the
process: so it is a process of its own that ends. Both sides are here: the launcher, and
the limits that the child sets on itself.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

LIMIT_MEMORY_BYTES = 1_500_000_000
LIMIT_CPU_SECONDS = 60
TIMEOUT_SECONDS = 120


def output_of_child(
    module: str, arguments: Sequence[str], handle: BinaryIO | None
) -> bytes | None:
    """Run a module of ours in a process of its own and return what it wrote.

    Args:
        module: its dotted name; it calls :func:`limit_this_process` first.
        arguments: what it is called with.
        handle: the file, given to it as stdin; None when it opens the file itself.

    Returns:
        Its stdout; None when it ended badly or took too long.
    """
    output, is_whole = run_child(module, arguments, handle)
    return output if is_whole else None


def run_child(
    module: str, arguments: Sequence[str], handle: BinaryIO | None = None
) -> tuple[bytes, bool]:
    """Do the same, and return also what a process wrote that ended badly.

    Returns:
        Its stdout, and whether it ended well and in time.
    """
    package = Path(__file__).resolve().parents[2]
    paths = [str(package), os.environ.get("PYTHONPATH", "")]
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join(filter(None, paths)),
        "OPENBLAS_NUM_THREADS": "1",  # each thread would reserve memory of the limit
    }
    try:
        done = subprocess.run(  # noqa: S603  our own interpreter and module
            [sys.executable, "-P", "-m", module, *arguments],
            stdin=subprocess.DEVNULL if handle is None else handle,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # readers quote cells in what they say there
            timeout=TIMEOUT_SECONDS,
            env=environment,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            check=False,
        )
    except subprocess.TimeoutExpired as late:
        return late.stdout or b"", False
    return done.stdout, done.returncode == 0


def answer_each(files: Sequence[str], read: Callable[[Path], dict[str, Any]]) -> int:
    """Be the child that reads files one after the other: a line of JSON each, at once.

    Args:
        files: their paths.
        read: what to say of one; a file that cannot be read is said in its line.

    Returns:
        0, the exit code.
    """
    limit_this_process()
    for file in files:
        line = json.dumps(read(Path(file)))
        sys.stdout.buffer.write(line.encode("ascii") + b"\n")
        sys.stdout.buffer.flush()
    return 0


def limit_this_process() -> None:
    """Set the limits from inside: a parent with threads cannot do it safely."""
    try:
        import resource
    except ImportError:  # Windows: the parent's timeout is the only limit
        return
    for which, limit in (
        (resource.RLIMIT_AS, LIMIT_MEMORY_BYTES),
        (resource.RLIMIT_CPU, LIMIT_CPU_SECONDS),
        (resource.RLIMIT_CORE, 0),
    ):
        with suppress(ValueError, OSError):  # a lower limit is in force already
            resource.setrlimit(which, (limit, limit))

"""Which files of records/ are read, and which are only seen."""

from __future__ import annotations

import os
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline.records.file_kinds import SHEET_ENDINGS

IGNORED = ("~$*", ".*", "thumbs.db", "desktop.ini")
"""What spreadsheets and file managers leave behind; not even counted."""


def readable_files(folder: Path) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Walk a folder for record sheets; links are not followed.

    Args:
        folder: records/ of an audit.

    Returns:
        The files to read, and those seen but not read (pictures, PDFs, films, links);
        both in the order of their path below the folder.
    """
    files: list[Path] = []
    seen: list[Path] = []
    for place, folders, names in os.walk(folder, followlinks=False):
        here = Path(place)
        seen += [here / name for name in folders if (here / name).is_symlink()]
        folders[:] = [name for name in folders if not _is_ignored(name)]
        for name in names:
            if not _is_ignored(name):
                path = here / name
                (files if _is_read(path) else seen).append(path)
    return _in_order(files, folder), _in_order(seen, folder)


def _is_ignored(name: str) -> bool:
    return any(fnmatchcase(name.lower(), pattern) for pattern in IGNORED)


def _is_read(path: Path) -> bool:
    is_sheet = path.suffix.lower() in SHEET_ENDINGS
    return is_sheet and not path.is_symlink()


def _in_order(paths: list[Path], folder: Path) -> tuple[Path, ...]:
    return tuple(sorted(paths, key=lambda path: path.relative_to(folder).parts))

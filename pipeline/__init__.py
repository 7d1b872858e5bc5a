"""Outcomes and quality audit for guided two-implant lower overdentures.

In a notebook or a script::

    import pipeline as plumbpost

    audit = plumbpost.open_audit("myaudit")
    audit.table("measured.implants")  # a DataFrame
    audit.columns("measured.implants")  # what each column means, and its unit
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.opened import OpenAudit

__all__ = ["open_audit"]


def open_audit(folder: str | Path) -> OpenAudit:
    """Open the tables of an audit that has been run.

    Args:
        folder: the audit folder.

    Returns:
        Its tables as DataFrames; see :class:`pipeline.opened.OpenAudit`.

    Raises:
        NotAnAudit: the folder holds no audit.toml.
        NoSuchTable: the audit has not been run.
    """
    from pipeline.opened import (
        OpenAudit,  # a heavy import, and the command line has none
    )

    return OpenAudit(Path(folder))

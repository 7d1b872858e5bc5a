"""Implant bodies given as meshes: what is fitted to the files that rows of implants name."""

from __future__ import annotations

from typing import Final

from pipeline.records.named_files import NamedFiles

MESHES: Final = NamedFiles(
    sheet="implants",
    fields=("planned_mesh", "achieved_mesh"),
    table="mesh_fits",
    number="fit_no",
    figures=(
        *(f"{end}_{axis}_mm" for end in ("one", "two") for axis in "xyz"),
        "radius_mm",
        "residual_mm",
    ),
    endings=frozenset({".stl"}),
    most_bytes=200_000_000,
    child="pipeline.records.mesh_child",
    at_a_time=20,
)
"""One row a content a named file had; the ends of a body as one and two, in no order."""

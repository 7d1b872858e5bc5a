"""DICOM Spatial Registration objects that rows of cases name in place of matching points.

Only the motion is kept: no patient, no day, no identifier of an image or of a frame.
"""

from __future__ import annotations

from typing import Final

from pipeline.records.file_kinds import DICOM_ENDINGS
from pipeline.records.named_files import NamedFiles

MOTION: Final = (
    *(f"rotation_{row}{column}" for row in "xyz" for column in "xyz"),
    *(f"shift_{axis}_mm" for axis in "xyz"),
)
"""point in the plan = rotation @ point in the scan + shift."""

REGISTRATIONS: Final = NamedFiles(
    sheet="cases",
    fields=("registration_file",),
    table="registration_files",
    number="reading_no",
    figures=("count_motions", *MOTION),
    endings=DICOM_ENDINGS | {""},
    most_bytes=20_000_000,
    child="pipeline.records.registration_child",
    at_a_time=50,
)
"""One row a content a named file had."""

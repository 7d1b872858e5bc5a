"""Examples of checks of registration objects, by what was read from them."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.records.registration_files import MOTION
from tests.spec.check_examples import Example, Row
from tests.spec.superimposing_examples import SHIFT, TURN, implants, to_scan


def motion(file: str, rotation: Any, shift: Any, **changes: Any) -> Row:
    """What was read from a file: the motion that takes the scan to the plan."""
    values = [*np.ravel(rotation).tolist(), *np.ravel(shift).tolist()]
    read = {"file": file, "file_sha256": "0", "failure": "", "count_motions": 1}
    return "registration_files", read | dict(zip(MOTION, values, strict=True)) | changes


def right(file: str) -> Row:
    """The motion that undoes that of the scan."""
    return motion(file, TURN.T, -TURN.T @ SHIFT)


def failed(failure: str, count: int | None = None) -> tuple[Row, ...]:
    none = dict.fromkeys(MOTION)
    file = f"{failure}.dcm"
    given = {"failure": failure, "count_motions": count} | none
    return (motion(file, TURN, SHIFT, **given), named(file), *implants())


def named(file: str) -> Row:
    return "cases", {"surgery_date": "2025-03-04", "registration_file": file}


GOOD = (right("good.dcm"), named("good.dcm"), *implants())
ONLY_PAIR = ", so only the figures of the pair can be given."


def example(name: str, bad: tuple[Row, ...], says: str) -> Example:
    return Example(f"registration-file-{name}", GOOD, bad, f"Row 2: {says}")


REGISTRATIONS = (
    example(
        "missing",
        (named("away.dcm"), *implants()),
        f"the file that registration_file names is not there{ONLY_PAIR}",
    ),
    example(
        "unreadable",
        failed("unreadable"),
        "the file that registration_file names is no DICOM file that can be read"
        + ONLY_PAIR,
    ),
    example(
        "deformable",
        failed("deformable"),
        "the file that registration_file names bends the scan to fit the plan (a"
        f" deformable registration){ONLY_PAIR}",
    ),
    example(
        "other-object",
        failed("other_object"),
        "the file that registration_file names is a DICOM object of another kind, not a"
        f" registration{ONLY_PAIR}",
    ),
    example(
        "motions",
        failed("not_one", 2),
        f"the file that registration_file names holds 2 motions, and it takes one{ONLY_PAIR}",
    ),
    example(
        "mirrored",
        failed("mirrored", 1),
        f"the motion in the file that registration_file names is a mirror image{ONLY_PAIR}",
    ),
    example(
        "not-rigid",
        failed("not_rigid", 1),
        "the motion in the file that registration_file names is not rigid, or is not said"
        f" to be{ONLY_PAIR}",
    ),
    example(
        "of-which-scan",
        (
            right("two scans.dcm"),
            named("two scans.dcm"),
            *implants(),
            *((sheet, cells | {"scan": "2"}) for sheet, cells in implants()),
        ),
        "2 scans of the case stand in coordinates of their own without a matching point,"
        f" and the file that registration_file names can serve one{ONLY_PAIR}",
    ),
    example(
        "inverted",
        (motion("inverted.dcm", TURN, SHIFT), named("inverted.dcm"), *implants()),
        "with the motion in the file that registration_file names used the other way"
        " round, the implants of the scan come 142.29 mm closer to their plan.",
    ),
    example(
        "far",
        (
            right("far.dcm"),
            named("far.dcm"),
            *implants(lambda p: to_scan(np.add(p, [0, 12, 0]))),
        ),
        "moved by the file that registration_file names, an entry lies 12.31 mm from its"
        " plan. Possible, but check.",
    ),
    example(
        "turned",
        (
            motion(
                "turned.dcm",
                np.diag([1.0, -1, -1]) @ TURN.T,
                np.diag([1.0, -1, -1]) @ -TURN.T @ SHIFT,
            ),
            named("turned.dcm"),
            *implants(),
        ),
        "moved by the file that registration_file names, planned and achieved axis of an"
        " implant point opposite ways (177.64 degrees apart).",
    ),
)

"""The process that reads DICOM registration objects under limits and then ends.

Out on stdout goes one JSON line a file, in order: the one rigid motion it holds, or why
there is none. Called as ``python -m pipeline.records.registration_child FILE ..``.

DICOM PS3.3 A.39 and C.20.2 (Spatial Registration): each item of Registration Sequence
names a source and holds the matrix that takes its points to the registered coordinates,
4 by 4, row by row, in mm of the patient's axes. An item without motion names what the
others are registered to.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pipeline.records.child import answer_each
from pipeline.records.registration_files import MOTION

SPATIAL_REGISTRATION: Final = "1.2.840.10008.5.1.4.1.1.66.1"
DEFORMABLE: Final = "1.2.840.10008.5.1.4.1.1.66.3"
"""SOP classes, DICOM PS3.4 B.5."""

UNDEFINED_LENGTH: Final = 0xFFFFFFFF

TOLERANCE: Final = 1e-4
"""How far a matrix may be off a rotation in any element: numbers written with a few
decimals are, by less; 0.01 mm at 100 mm. Common practice, no source."""

Matrix = NDArray[np.float64]


class NoMotion(Exception):
    """The file gives no rigid motion; the text is the failure."""


def read_motion(path: Path) -> dict[str, Any]:
    """Return ``failure``, ``count_motions`` where told, and the motion where there is one."""
    found: dict[str, Any] = {"failure": ""}
    try:
        types, matrices = _matrices(path)
        found["count_motions"] = len(matrices)
        motion = _the_one(types, matrices)
    except NoMotion as why:
        found["failure"] = str(why)
        return found
    values = [*motion[:3, :3].ravel().tolist(), *motion[:3, 3].tolist()]
    return found | dict(zip(MOTION, values, strict=True))


def _matrices(path: Path) -> tuple[list[str], list[Matrix]]:
    """Return the types and matrices of a registration object, those at rest left out.

    Raises:
        NoMotion: it is no such object, or it is damaged.
    """
    import pydicom

    try:
        # the names and numbers of the patient are skipped, never read
        found = pydicom.dcmread(
            path, specific_tags=["SOPClassUID", "RegistrationSequence"]
        )
        _refuse_cut(found)
        kind = str(found.get("SOPClassUID", ""))
        read = list(_all_matrices(found)) if kind == SPATIAL_REGISTRATION else []
    except MemoryError:
        raise
    except Exception:  # any fault of a foreign file ends here  # noqa: BLE001
        raise NoMotion("unreadable") from None
    if not kind:
        raise NoMotion("unreadable")
    if kind != SPATIAL_REGISTRATION:
        raise NoMotion("deformable" if kind == DEFORMABLE else "other_object")
    moving = [one for one in read if not np.array_equal(one[1], np.eye(4))]
    used = moving or read[:1]
    return [name for name, _ in used], [matrix for _, matrix in used]


def _refuse_cut(found: Any) -> None:
    """Refuse a sequence shorter than it says: an item less would be another motion."""
    raw = found.get_item("RegistrationSequence")
    said = getattr(raw, "length", None)
    if said not in (None, UNDEFINED_LENGTH) and len(raw.value) < said:
        raise EOFError


def _all_matrices(found: Any) -> Iterator[tuple[str, Matrix]]:
    """Yield type and matrix of every item; one without a matrix is an error."""
    for item in found.get("RegistrationSequence") or ():
        for step in item.MatrixRegistrationSequence:
            for one in step.MatrixSequence:
                numbers = [float(n) for n in one.FrameOfReferenceTransformationMatrix]
                matrix = np.array(numbers, np.float64).reshape(4, 4)
                kind = one.get("FrameOfReferenceTransformationMatrixType", "")
                yield str(kind), matrix


def _the_one(types: Sequence[str], matrices: Sequence[Matrix]) -> Matrix:
    if len(matrices) != 1:
        raise NoMotion("not_one")
    return _rigid(types[0], matrices[0])


def _rigid(kind: str, matrix: Matrix) -> Matrix:
    """Return the matrix with its turn made exact.

    Raises:
        NoMotion: it also scales, shears or mirrors, or holds what is no finite number.
    """
    turn = matrix[:3, :3]
    is_finite = bool(np.isfinite(matrix).all())
    if not is_finite or not np.array_equal(matrix[3], [0, 0, 0, 1]):
        raise NoMotion("not_rigid")
    if np.abs(turn @ turn.T - np.eye(3)).max() > TOLERANCE:
        raise NoMotion("not_rigid")
    if np.linalg.det(turn) < 0:
        raise NoMotion("mirrored")
    if kind != "RIGID":
        raise NoMotion("not_rigid")
    left, _, right = np.linalg.svd(turn)
    exact = matrix.copy()
    exact[:3, :3] = left @ right
    return exact


if __name__ == "__main__":
    sys.exit(answer_each(sys.argv[1:], read_motion))

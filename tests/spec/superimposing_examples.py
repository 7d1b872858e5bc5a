"""Examples of checks of matching points: scans in coordinates of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from tests.integration.staged_tables import implant
from tests.spec.check_examples import Example, Row

Point = tuple[float, float, float]
Motion = Callable[[Any], Any]

MARKS: dict[str, Point] = {
    "left_pad": (24, 40, 6),
    "right_pad": (-24, 40, 6),
    "midline": (0, -5, 0),
    "marker a": (12, 5, 10),
    "marker b": (-14, 2, -8),
    "marker c": (0, 30, -10),
}
TURN = Rotation.from_rotvec([0.3, -0.2, 0.5]).as_matrix()
SHIFT = np.array([35.0, -60, 12])


def to_scan(point: Any) -> Any:
    """A point of the plan in the scan's own coordinates."""
    return np.asarray(point) @ TURN.T + SHIFT


def mirrored(point: Any) -> Any:
    """The same, in a scan whose x counts the other way."""
    return to_scan(point) * [-1, 1, 1]


def landmarks(frame: str, points: Mapping[str, Any], **more: Any) -> tuple[Row, ...]:
    return tuple(
        ("landmarks", {"label": label, "frame": frame} | cells(*point) | more)
        for label, point in points.items()
    )


def cells(x: float, y: float, z: float) -> dict[str, str]:
    return {
        f"{axis}_mm": repr(float(v)) for axis, v in zip("xyz", (x, y, z), strict=True)
    }


def implants(motion: Motion = to_scan, source: str = "cbct") -> tuple[Row, ...]:
    """A good pair whose result stands in the scan's own coordinates."""
    sides = ("left", "right")
    return tuple(("implants", in_scan(implant(s), motion, source)) for s in sides)


def in_scan(good: dict[str, Any], motion: Motion, source: str) -> dict[str, Any]:
    moved = {}
    for end in ("entry", "apex"):
        names = [f"achieved_{end}_{axis}_mm" for axis in "xyz"]
        point = motion([good[name] for name in names])
        moved |= {n: repr(float(v)) for n, v in zip(names, point, strict=True)}
    return good | moved | {"achieved_frame": "scan", "achieved_source": source}


def case(
    marks: Mapping[str, Any] = MARKS,
    motion: Motion = to_scan,
    frames: tuple[str, str] = ("plan", "scan"),
    source: str = "cbct",
    **wrong: Any,
) -> tuple[Row, ...]:
    """A case in two frames; ``wrong`` puts scan points elsewhere before they are moved."""
    seen = {label: motion(wrong.get(label, point)) for label, point in marks.items()}
    return (
        *implants(motion, source),
        *landmarks(frames[0], marks),
        *landmarks(frames[1], seen),
    )


def only(*labels: str) -> dict[str, Point]:
    return {label: MARKS[label] for label in labels}


FRONT = {"a": (3, 0, 0), "b": (-3, 0, 1), "c": (0, -4, 0), "d": (0, 1, 3)}
LINE = {"a": (20, 0, 0), "b": (-20, 1, 0), "c": (0, -1, 0), "d": (7, 0, 1)}
THREE = only("left_pad", "right_pad", "midline")

SUPERIMPOSING = (
    Example(
        "scan-no-matching-points",
        case(),
        implants(),
        "The result stands in a scan's own coordinates and no point is marked in both"
        " plan and scan, so only the figures of the pair can be given.",
    ),
    Example(
        "scan-too-few-points",
        case(),
        case(only("left_pad", "midline")),
        "A scan shares 2 matching point(s) with the plan; superimposing takes 3, so only"
        " the figures of the pair can be given.",
    ),
    Example(
        "scan-points-on-a-line",
        case(),
        case(LINE),
        "The matching points of a scan lie nearly on one line (0.62 mm off it, root mean"
        " square; 2 mm is the least), so only the figures of the pair can be given.",
    ),
    # no other case is read from a scanned cast, so the published error of a point is taken
    Example(
        "scan-superimposed-loosely",
        case(source="cast_scan"),
        case(FRONT, source="cast_scan"),
        "The matching points of a scan hold it only loosely: the place or the axis of an"
        " implant would be less certain than this audit allows, so only the figures of"
        " the pair can be given.",
    ),
    Example(
        "scan-misfit",
        case(midline=(0, -4, 0.5)),
        case(midline=(6, 2, 6)),
        "After superimposing, the matching points of a scan still lie 3.82 mm apart (root"
        " mean square); 2 mm is the most that reading leaves.",
    ),
    Example(
        "scan-mirror-image",
        case(),
        case(motion=mirrored),
        "The matching points of a scan fit 13.65 mm better as a mirror image of the"
        " plan.",
    ),
    Example(
        "scan-frames-exchanged",
        case(),
        case(frames=("scan", "plan")),
        "Superimposed the other way round, the implants of a scan come 142.29 mm closer"
        " to their plan.",
    ),
    Example(
        "scan-implants-far",
        case(),
        (*implants(lambda p: to_scan(np.add(p, [0, 12, 0]))), *case()[2:]),
        "After superimposing, an entry lies 12.31 mm from its plan. Possible, but check.",
    ),
    Example(
        "scan-implants-turned",
        case(THREE),
        case(THREE, mirrored),
        "After superimposing, planned and achieved axis of an implant point opposite ways"
        " (165.21 degrees apart).",
    ),
    Example(
        "jaw-upside-down",
        landmarks("plan", MARKS),
        landmarks(
            "plan",
            THREE | {"left_pad": MARKS["right_pad"], "right_pad": MARKS["left_pad"]},
        ),
        "By its own landmarks the jaw's upward direction lies 172.41 degrees from that of"
        " the plan.",
    ),
)

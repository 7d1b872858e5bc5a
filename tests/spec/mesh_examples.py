"""Examples of checks of implant bodies given as meshes, by what was fitted to them."""

from __future__ import annotations

from typing import Any

from tests.integration.staged_tables import implant
from tests.spec.check_examples import Example, Row

COORDINATES = [f"{end}_{axis}_mm" for end in ("entry", "apex") for axis in "xyz"]
OTHER = {"planned": "achieved", "achieved": "planned"}


def fit(file: str, **changes: Any) -> Row:
    """What was fitted to an upright body of 4 mm by 10 mm, a little off the plan."""
    good = {
        "file": file,
        "file_sha256": "0",
        "failure": "",
        "one": (8.1, 0.2, -10.0),
        "two": (8.1, 0.2, 0.0),
        "radius_mm": 2.0,
        "residual_mm": 0.1,
    }
    fitted = good | changes
    for end in ("one", "two"):
        values = fitted.pop(end)
        fitted |= dict(zip((f"{end}_{axis}_mm" for axis in "xyz"), values, strict=True))
    return "mesh_fits", fitted


def failed(file: str, failure: str) -> Row:
    none = (None, None, None)
    return fit(
        file, failure=failure, one=none, two=none, radius_mm=None, residual_mm=None
    )


def named(state: str, file: str, **changes: Any) -> Row:
    """A row that names a mesh in place of the coordinates of one state."""
    away = {f"{state}_{name}": None for name in COORDINATES}
    return "implants", implant("left", **(away | {f"{state}_mesh": file} | changes))


def example(state: str, name: str, good: Row, bad: Row, says: str) -> Example:
    check_id = f"implants-{state}-mesh-{name}"
    files = (f"{name} good {state}.stl", f"{name} bad {state}.stl")
    rows = []
    for file, (sheet, cells) in zip(files, (good, bad), strict=True):
        rows.append(((sheet, cells | {"file": file}), named(state, file)))
    return Example(check_id, rows[0], rows[1], f"Row 2: {says}")


def examples(state: str) -> tuple[Example, ...]:
    field = f"{state}_mesh"
    good = fit("")
    beside = {"one": (8.0, 0, -10.0), "two": (8.0, 0, 0.0)}
    if state == "achieved":
        beside = {"one": (8.9, 0.4, -10.2), "two": (8.5, 0.3, -0.2)}
    moved = {end: (x + 0.5, y, z) for end, (x, y, z) in beside.items()}
    lying = {"one": (3.0, 0.0, 0.0), "two": (13.0, 0.0, 0.0)}
    with_cells = ("implants", implant("left", **{field: f"cells {state}.stl"}))
    return (
        example(
            state,
            "missing",
            good,
            failed("", "missing"),
            f"the file that {field} names is not there.",
        ),
        example(
            state,
            "unreadable",
            good,
            failed("", "unreadable"),
            f"the file that {field} names holds no mesh that can be read.",
        ),
        example(
            state,
            "no-cylinder",
            good,
            fit("", residual_mm=0.5),
            f"the mesh that {field} names is no implant body: its surface lies 25 percent"
            " of the radius off the best cylinder.",
        ),
        example(
            state,
            "too-short",
            good,
            fit("", one=(8.1, 0.2, -3.0)),
            f"the mesh that {field} names is no implant body: it is 0.75 times as long as"
            " it is wide.",
        ),
        example(
            state,
            "diameter",
            good,
            fit("", radius_mm=0.2, residual_mm=0.01),
            f"the mesh that {field} names is 0.4 mm wide; 2 to 8 mm is possible.",
        ),
        example(
            state,
            "ends",
            good,
            fit("", **lying),
            f"which end of the mesh that {field} names is the entry cannot be told.",
        ),
        Example(
            f"implants-{state}-mesh-against-cells",
            (fit(f"near {state}.stl", **beside), ("implants", implant("left"))),
            (fit(f"cells {state}.stl", **moved), with_cells),
            f"Row 2: an end of the mesh that {field} names lies 0.5 mm from the"
            " coordinates in the row; the coordinates serve.",
        ),
    )


MESHES = (*examples("planned"), *examples("achieved"))

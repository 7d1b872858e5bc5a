"""The process that reads meshes of implant bodies under limits and then ends.

Out on stdout goes one JSON line a file, in order, as soon as it is done: what was fitted,
or why nothing could be. Called as ``python -m pipeline.records.mesh_child FILE ..``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.records.child import limit_this_process


def main(files: Sequence[str]) -> int:
    """Fit a cylinder to the body in each STL file.

    Args:
        files: their paths.

    Returns:
        0; a file that holds no body is said in its line.
    """
    limit_this_process()
    for file in files:
        line = json.dumps(_fitted(Path(file)))
        sys.stdout.buffer.write(line.encode("ascii") + b"\n")
        sys.stdout.buffer.flush()
    return 0


def _fitted(path: Path) -> dict[str, Any]:
    import trimesh

    from pipeline.geometry.cylinder import NoSurface, fit_cylinder

    try:
        with path.open("rb") as handle:
            mesh = trimesh.load_mesh(handle, file_type="stl", process=False)
        triangles = mesh.triangles
    except MemoryError:
        raise
    except Exception:  # noqa: BLE001  any fault of a foreign file ends here
        return {"failure": "unreadable"}
    try:
        found = fit_cylinder(triangles)
    except NoSurface:
        return {"failure": "no_surface"}
    (one, two) = found.ends.tolist()
    return {
        "failure": "",
        **{f"one_{axis}_mm": value for axis, value in zip("xyz", one, strict=True)},
        **{f"two_{axis}_mm": value for axis, value in zip("xyz", two, strict=True)},
        "radius_mm": found.radius_mm,
        "residual_mm": found.residual_mm,
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

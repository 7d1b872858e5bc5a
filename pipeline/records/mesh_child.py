"""The process that reads meshes of implant bodies under limits and then ends.

Out on stdout goes one JSON line a file, in order, as soon as it is done: what was fitted,
or why nothing could be. Called as ``python -m pipeline.records.mesh_child FILE ..``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from pipeline.records.child import answer_each


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
    sys.exit(answer_each(sys.argv[1:], _fitted))

"""An implant body as an STL file stands for its six coordinates, from the file to the figures."""

import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from tests.audits import (
    COORDINATES,
    audit_of,
    fill,
    implants_csv,
    invoke,
    opened,
    records_of,
)

LENGTH = 10.0
PLANNED = {"left": np.array([8.0, 0, 0]), "right": np.array([-8.0, 1, 0])}
LEANS = {"left": (0, 4, 3), "right": (2, -5, 0)}
SHIFTS = {"left": np.array([0.6, -0.4, -0.3]), "right": np.array([-0.2, 0.5, 0.4])}


def body(entry, lean=(0.0, 0.0, 0.0), radius=2.0, length=LENGTH, noise=0.0) -> bytes:
    """Make an upright body whose head is at ``entry``, lean it, and write it as STL."""
    mesh = trimesh.creation.cylinder(radius, length, sections=48)
    mesh.apply_translation([0, 0, -length / 2])
    mesh = mesh.subdivide().subdivide()
    mesh.vertices = mesh.vertices + np.random.default_rng(7).normal(
        0, noise, mesh.vertices.shape
    )
    turn = Rotation.from_euler("xyz", lean, degrees=True).as_matrix()
    mesh.vertices = mesh.vertices @ turn.T + np.asarray(entry)
    return mesh.export(file_type="stl")


def points(entry, lean=(0.0, 0.0, 0.0), length=LENGTH):
    apex = Rotation.from_euler("xyz", lean, degrees=True).apply([0, 0, -length])
    return [*np.asarray(entry), *(np.asarray(entry) + apex)]


def files(**changes) -> dict[str, str | bytes]:
    """A case whose plan and result are meshes."""
    rows, found = [], {}
    for side, entry in PLANNED.items():
        found[f"meshes/{side} plan.stl"] = body(entry)
        found[f"meshes/{side} result.STL"] = body(entry + SHIFTS[side], LEANS[side])
        rows.append(
            {
                "case_id": "A1",
                "side": side,
                "planned_mesh": f"meshes/{side} plan.stl",
                "achieved_mesh": f"meshes\\{side} result.STL",
                "achieved_source": "cbct",
            }
            | changes
        )
    return {"implants.csv": implants_csv(rows)} | found


def with_coordinates() -> dict[str, str | bytes]:
    rows = []
    for side, entry in PLANNED.items():
        cells = [*points(entry), *points(entry + SHIFTS[side], LEANS[side])]
        head = {"case_id": "A1", "side": side, "achieved_source": "cbct"}
        rows.append(
            head | dict(zip(COORDINATES, map(repr, map(float, cells)), strict=True))
        )
    return {"implants.csv": implants_csv(rows)}


FIGURES = "entry_3d_mm, depth_mm, apex_3d_mm, angle_deg, mesial_mm, facial_mm"


def figures(folder: Path) -> np.ndarray:
    with opened(folder) as audit:
        rows = audit.run(
            f"select {FIGURES} from measured.implants order by implant_key"
        )
    return np.array(rows, dtype=float)


def findings(folder: Path) -> dict[str, str]:
    with opened(folder) as audit:
        return dict(
            audit.run(
                "select check_id, sentence from checked.findings"
                " where check_id like '%-mesh-%' order by row_number desc"
            )
        )


def test_meshes_give_the_figures_that_their_ends_as_coordinates_give(tmp_path) -> None:
    by_mesh = figures(audit_of(tmp_path / "a", files()))
    by_cells = figures(audit_of(tmp_path / "b", with_coordinates()))
    assert by_mesh.shape == (2, 6)
    assert by_mesh == pytest.approx(by_cells, abs=0.005)


def test_a_mesh_is_kept_by_its_content_and_the_audit_needs_the_file_no_more(
    tmp_path, capsys
) -> None:
    folder = audit_of(tmp_path / "a", files())
    wanted = figures(folder)
    for path in (folder / "records" / "meshes").iterdir():
        path.unlink()
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0, err
    assert figures(folder) == pytest.approx(wanted, abs=0)
    with records_of(folder) as records:
        kept = records.run("select file_sha256, failure from mesh_fits")
    assert len(kept) == 4
    assert {(len(digest), failure) for digest, failure in kept} == {(64, "")}


def test_a_changed_mesh_is_fitted_again_and_counts(tmp_path, capsys) -> None:
    folder = audit_of(tmp_path / "a", files())
    before = figures(folder)
    moved = body(PLANNED["left"] + SHIFTS["left"] + [1, 0, 0], LEANS["left"])
    fill(folder, {"meshes/left result.STL": moved})
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0, err
    after = figures(folder)
    assert np.abs(after[0] - before[0]).max() > 0.5
    assert after[1] == pytest.approx(before[1], abs=0)


def test_a_mesh_that_comes_a_month_later_fills_its_row_then(tmp_path, capsys) -> None:
    given = files()
    late = {name: given.pop(name) for name in list(given) if "result" in name}
    folder = audit_of(tmp_path / "a", given)
    assert "is not there" in findings(folder)["implants-achieved-mesh-missing"]
    fill(folder, late)
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0, err
    assert findings(folder) == {}
    assert len(figures(folder)) == 2


def test_meshes_that_rows_name_are_not_listed_as_only_seen(tmp_path, capsys) -> None:
    folder = tmp_path / "a"
    invoke(capsys, "start", folder, "--records", "coordinates")
    (folder / "records" / "records.xlsx").unlink()
    fill(folder, files() | {"another.stl": body([0, 0, 0])})
    _, _, err = invoke(capsys, "run", folder)
    assert "seen, not read: 1 " in err


def sphere() -> bytes:
    return trimesh.creation.icosphere(3, 2.0).export(file_type="stl")


def many_triangles_promised() -> bytes:
    """A binary STL of 84 bytes that says it holds four thousand million triangles."""
    return b"\0" * 80 + struct.pack("<I", 4_000_000_000)


@pytest.mark.parametrize(
    ("content", "check"),
    [
        (sphere(), "no-cylinder"),
        (body(PLANNED["left"], length=2.4), "too-short"),
        (body(PLANNED["left"] / 1000, radius=0.002, length=0.010), "diameter"),
        (body(PLANNED["left"], lean=(0, 90, 0)), "ends"),
        (b"solid nothing\nendsolid nothing\n", "unreadable"),
        (b"case_id,side\n", "unreadable"),
        (many_triangles_promised(), "unreadable"),
        (body(PLANNED["left"])[:-700], "unreadable"),
    ],
    ids=["ball", "short", "metres", "lying", "empty", "text", "promises", "cut short"],
)
def test_what_is_no_implant_body_sets_its_row_aside_with_a_sentence(
    tmp_path, content, check
) -> None:
    folder = audit_of(tmp_path / "a", files() | {"meshes/left plan.stl": content})
    found = findings(folder)
    assert list(found) == [f"implants-planned-mesh-{check}"]
    assert found[f"implants-planned-mesh-{check}"].startswith("Row 2: ")
    with opened(folder) as audit:
        held = audit.run(
            "select i.row_number from staged.implants as i semi join checked.held as h"
            " on i.row_id = h.row_id where i.row_number = 2"
        )
    assert held == [(2,)]


@pytest.mark.parametrize(
    "name", ["../secret.stl", "/etc/passwd", "C:\\secret.stl", "meshes"]
)
def test_only_files_below_records_are_opened(tmp_path, name) -> None:
    (tmp_path / "secret.stl").write_bytes(body([0, 0, 0]))
    folder = audit_of(tmp_path / "a", files(planned_mesh=name))
    assert list(findings(folder)) == ["implants-planned-mesh-missing"]


def test_which_end_is_up_is_not_guessed_in_a_scanner_that_knows_no_up(tmp_path) -> None:
    given = files(achieved_frame="scan", achieved_source="scan_body")
    folder = audit_of(tmp_path / "a", given)
    assert list(findings(folder)) == ["implants-achieved-mesh-ends"]


def test_coordinates_in_the_row_serve_and_a_mesh_far_from_them_is_said(
    tmp_path,
) -> None:
    given = with_coordinates()
    lines = str(given["implants.csv"]).splitlines()
    lines[0] += ",planned_mesh"
    lines[1:] = [
        f"{line},{side}.stl" for line, side in zip(lines[1:], PLANNED, strict=True)
    ]
    given["implants.csv"] = "\n".join(lines) + "\n"
    given["left.stl"] = body(PLANNED["left"] + [0.5, 0, 0])
    given["right.stl"] = body(PLANNED["right"] + [0.1, 0, 0])
    folder = audit_of(tmp_path / "a", given)
    plain = audit_of(tmp_path / "b", with_coordinates())
    assert figures(folder) == pytest.approx(figures(plain), abs=0)
    (sentence,) = findings(folder).values()
    assert sentence.startswith(
        "Row 2: an end of the mesh that planned_mesh names lies 0.5 mm"
    )


def test_an_upper_jaw_has_its_entry_below(tmp_path) -> None:
    entry = np.array([8.0, 0, 0])
    upper = {
        "implants.csv": "case_id,tooth,planned_mesh\nA1,23,plan.stl\n",
        "plan.stl": body(entry, lean=(180, 0, 0)),
    }
    folder = audit_of(tmp_path / "a", upper, up_to="checked")
    with opened(folder) as audit:
        found = audit.run(
            "select planned_entry_z_mm, planned_apex_z_mm from staged.implants"
        )
    assert found[0] == pytest.approx((0, LENGTH), abs=0.001)


def test_noise_of_a_segmented_scan_moves_the_figures_little(tmp_path) -> None:
    """0.05 mm of noise a corner, as the surface of a threshold leaves it."""
    noisy = files()
    for side, entry in PLANNED.items():
        noisy[f"meshes/{side} result.STL"] = body(
            entry + SHIFTS[side], LEANS[side], noise=0.05
        )
    by_mesh = figures(audit_of(tmp_path / "a", noisy))
    by_cells = figures(audit_of(tmp_path / "b", with_coordinates()))
    assert by_mesh == pytest.approx(by_cells, abs=0.25)

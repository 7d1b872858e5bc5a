"""The axis of an implant body comes from its mesh; what is no cylinder is told by its misfit."""

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from pipeline.geometry.cylinder import NoSurface, fit_cylinder

MOST_MISFIT = 0.16
LEAST_ELONGATION = 1.0

TURN = Rotation.from_euler("xyz", [25, -40, 10], degrees=True).as_matrix()
PLACE = np.array([12.0, -31.0, 4.5])


def placed(mesh: trimesh.Trimesh) -> np.ndarray:
    return mesh.triangles @ TURN.T + PLACE


def body(length: float = 10.0, top: float = 2.0, tip: float = 1.6) -> trimesh.Trimesh:
    """Turn a tapered body with threads 0.3 mm deep, 0.8 mm apart, on a lathe."""
    z = np.linspace(0, length, 201)
    thread = 0.3 * np.abs((z / 0.8) % 1 - 0.5)
    radius = tip + (top - tip) * z / length + thread
    outline = np.concatenate([[[0, 0]], np.c_[radius, z], [[0, length]]])
    return trimesh.creation.revolve(outline)


def both_ends(cylinder) -> np.ndarray:
    """Return the ends, lower along the turned axis first."""
    return cylinder.ends[np.argsort(cylinder.ends @ TURN[:, 2])]


def looks_like_a_cylinder(cylinder) -> bool:
    return cylinder.misfit <= MOST_MISFIT and cylinder.elongation >= LEAST_ELONGATION


@pytest.mark.parametrize(("radius", "length"), [(2.0, 10.0), (1.5, 13.0), (2.5, 6.0)])
def test_a_cylinder_gives_its_axis_its_ends_and_its_radius(radius, length) -> None:
    """Checked against trimesh's own smallest enclosing cylinder."""
    mesh = trimesh.creation.cylinder(radius, length, sections=64)
    found = fit_cylinder(placed(mesh))
    wanted = np.array([[0, 0, -length / 2], [0, 0, length / 2]]) @ TURN.T + PLACE
    assert both_ends(found) == pytest.approx(wanted, abs=1e-3)
    assert found.radius_mm == pytest.approx(radius, rel=0.003)
    assert found.misfit < 0.003
    outside = trimesh.bounds.minimum_cylinder(mesh)
    assert found.length_mm == pytest.approx(outside["height"], abs=0.02)
    assert found.radius_mm == pytest.approx(outside["radius"], rel=0.01)


def test_threads_taper_and_noise_leave_the_axis_where_it_is() -> None:
    """0.05 mm of noise a corner turns the axis of a 10 mm body by less than 0.2 degrees."""
    mesh = body()
    rng = np.random.default_rng(20260301)
    mesh.vertices = mesh.vertices + rng.normal(0, 0.05, mesh.vertices.shape)
    found = fit_cylinder(placed(mesh))
    angle = np.degrees(np.arccos(abs(found.axis @ TURN[:, 2])))
    assert angle < 0.2
    wanted = np.array([[0, 0, 0], [0, 0, 10.0]]) @ TURN.T + PLACE
    assert both_ends(found) == pytest.approx(wanted, abs=0.25)
    assert looks_like_a_cylinder(found)


def test_a_socket_inside_the_head_does_not_pull_the_axis() -> None:
    socket = trimesh.creation.annulus(1.2, 2.0, 3.0)
    socket.apply_translation([0, 0, 8.5])
    mesh = trimesh.util.concatenate([body(length=7.0, tip=2.0), socket])
    found = fit_cylinder(placed(mesh))
    assert np.degrees(np.arccos(abs(found.axis @ TURN[:, 2]))) < 0.2
    assert found.length_mm == pytest.approx(10.0, abs=0.05)
    assert looks_like_a_cylinder(found)


def test_faces_written_the_other_way_round_give_the_same() -> None:
    mesh = body()
    wanted = fit_cylinder(mesh.triangles)
    mesh.invert()
    found = fit_cylinder(mesh.triangles)
    assert np.sort(found.ends, axis=0) == pytest.approx(
        np.sort(wanted.ends, axis=0), abs=1e-6
    )
    assert found.residual_mm == pytest.approx(wanted.residual_mm, rel=1e-6)


def test_a_stray_speck_beside_the_body_is_no_end_of_it() -> None:
    speck = trimesh.creation.icosphere(1, 0.2)
    speck.apply_translation([15, 0, 30])
    found = fit_cylinder(trimesh.util.concatenate([body(), speck]).triangles)
    assert found.length_mm == pytest.approx(10.0, abs=0.1)


def jaw() -> trimesh.Trimesh:
    """Make an open arch of round section, as coarse as a jaw goes."""
    angle = np.linspace(0, np.pi, 40)
    path = np.c_[25 * np.cos(angle), 30 * np.sin(angle), np.zeros(40)]
    beads = [trimesh.creation.icosphere(1, 6.0).apply_translation(p) for p in path]
    return trimesh.util.concatenate(beads)


@pytest.mark.parametrize(
    "mesh",
    [
        trimesh.creation.icosphere(3, 2.0),
        trimesh.creation.box((4, 4, 4)),
        trimesh.creation.box((2, 4, 12)),
        trimesh.creation.box((4, 20, 1)),
        trimesh.creation.torus(25, 4),
        trimesh.creation.cone(2, 10),
        jaw(),
        trimesh.util.concatenate(
            [body(), body().apply_translation([22, 0, 0])],
        ),
    ],
    ids=["ball", "cube", "bar", "plate", "ring", "cone", "arch", "two bodies"],
)
def test_what_is_no_implant_body_is_told_by_misfit_or_length(mesh) -> None:
    found = fit_cylinder(placed(mesh))
    assert not looks_like_a_cylinder(found) or found.radius_mm > 4


@pytest.mark.parametrize(
    "triangles",
    [
        np.zeros((0, 3, 3)),
        np.zeros((10, 3, 3)),
        np.full((10, 3, 3), np.nan),
        np.zeros((5, 3)),
        np.tile([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]], (6, 1, 1)),
    ],
    ids=["nothing", "no area", "no numbers", "no triangles", "one flat face"],
)
def test_a_mesh_without_a_body_is_refused(triangles) -> None:
    with pytest.raises(NoSurface):
        fit_cylinder(triangles)

"""Two independent ways to the same number: SQL against scipy rotations, to 1e-9.

300 generated cases go through the ordinary doors (a csv file, load, check, measure);
every figure is calculated again here with vectors and scipy.spatial.transform.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.audits import COORDINATES, audit_of, opened

N_CASES = 300
TOLERANCE = 1e-9


def unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


@pytest.fixture(scope="module")
def generated():
    """Planned and achieved entry and apex of both sides: arrays (cases, side, xyz)."""
    rng = np.random.default_rng(20261125)
    side = np.array([1.0, -1.0])  # left has the larger x
    entry = np.zeros((N_CASES, 2, 3))
    entry[..., 0] = side * rng.uniform(7, 12, (N_CASES, 2))
    entry[..., 1] = rng.uniform(-30, -25, (N_CASES, 2))
    entry[..., 2] = rng.uniform(-1, 1, (N_CASES, 2))
    lean = Rotation.from_rotvec(
        np.radians(rng.normal(0, 4, (N_CASES * 2, 3))) * [1, 1, 0]
    )
    down = np.array([0.0, 0.0, -1.0])
    axis = lean.apply(down).reshape(N_CASES, 2, 3)
    apex = entry + rng.choice([8.0, 10.0, 12.0], (N_CASES, 2, 1)) * axis
    turn = Rotation.from_rotvec(np.radians(rng.normal(0, 4, (N_CASES * 2, 3))))
    achieved_entry = entry + rng.normal(0, 0.8, entry.shape)
    achieved_axis = turn.apply(axis.reshape(-1, 3)).reshape(N_CASES, 2, 3)
    length = np.linalg.norm(apex - entry, axis=-1, keepdims=True)
    achieved_apex = achieved_entry + length * achieved_axis
    return {
        "planned_entry": entry,
        "planned_apex": apex,
        "achieved_entry": achieved_entry,
        "achieved_apex": achieved_apex,
    }


def as_csv(points):
    lines = ["case_id,side,achieved_source," + ",".join(COORDINATES)]
    for case in range(N_CASES):
        for i, side in enumerate(("left", "right")):
            numbers = [
                repr(float(points[f"{state}_{point}"][case, i, k]))
                for state in ("planned", "achieved")
                for point in ("entry", "apex")
                for k in range(3)
            ]
            lines.append(f"C{case:04d},{side},cbct," + ",".join(numbers))
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def made(generated, tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = audit_of(
            tmp_path_factory.mktemp("oracle") / "a", {"implants.csv": as_csv(generated)}
        )
    with opened(folder) as audit, audit_records(folder) as records:
        order = records.frame(
            "select case_id as case_key, min(row_number) as n from implants group by 1"
        )
        implants = audit.frame("select * from measured.implants")
        pairs = audit.frame("select * from measured.pairs")
    place = order.sort_values("n").reset_index(drop=True)
    place["place"] = place.index
    place = place.drop(columns="n")
    sort = ["place", "side"]
    return {
        "implants": implants.merge(place, on="case_key").sort_values(sort),
        "pairs": pairs.merge(place, on="case_key").sort_values("place"),
    }


def audit_records(folder):
    from tests.audits import records_of

    return records_of(folder)


@pytest.fixture(scope="module")
def expected(generated):
    p, pa = generated["planned_entry"], generated["planned_apex"]
    q, qa = generated["achieved_entry"], generated["achieved_apex"]
    u, v = unit(pa - p), unit(qa - q)
    d, e = q - p, qa - pa
    along = np.sum(d * u, axis=-1)
    apex_along = np.sum(e * u, axis=-1)
    to_midline = np.array([-1.0, 1.0])

    def leans(axis):
        """Leans by turning the axis itself, not by the tangent of its parts."""
        h = -axis
        return {
            "frontal": np.degrees(np.angle(h[..., 2] + 1j * h[..., 0] * to_midline)),
            "sagittal": np.degrees(np.angle(h[..., 2] - 1j * h[..., 1])),
        }

    flat_u, flat_v = u.reshape(-1, 3), v.reshape(-1, 3)
    angle = np.array(
        [
            Rotation.align_vectors([b], [a])[0].magnitude()
            for a, b in zip(flat_u, flat_v, strict=True)
        ]
    ).reshape(N_CASES, 2)
    planned, achieved = leans(u), leans(v)
    return {
        "entry_3d_mm": np.linalg.norm(d, axis=-1),
        "apex_3d_mm": np.linalg.norm(e, axis=-1),
        "depth_mm": along,
        "depth_size_mm": np.abs(along),
        "apex_depth_mm": apex_along,
        "entry_lateral_mm": np.linalg.norm(np.cross(d, u), axis=-1),
        "apex_lateral_mm": np.linalg.norm(np.cross(e, u), axis=-1),
        "angle_deg": np.degrees(angle),
        "mesial_mm": d[..., 0] * to_midline,
        "facial_mm": -d[..., 1],
        "up_mm": d[..., 2],
        "planned_frontal_tilt_deg": planned["frontal"],
        "achieved_frontal_tilt_deg": achieved["frontal"],
        "frontal_tilt_change_deg": achieved["frontal"] - planned["frontal"],
        "planned_sagittal_tilt_deg": planned["sagittal"],
        "achieved_sagittal_tilt_deg": achieved["sagittal"],
        "sagittal_tilt_change_deg": achieved["sagittal"] - planned["sagittal"],
    }


def pair_figures(entry, apex):
    axis = unit(apex - entry)
    h = -axis
    to_midline = np.array([-1.0, 1.0])
    frontal = np.degrees(np.angle(h[..., 2] + 1j * h[..., 0] * to_midline))
    sagittal = np.degrees(np.angle(h[..., 2] - 1j * h[..., 1]))
    left, right = 0, 1
    angle = [
        np.degrees(Rotation.align_vectors([b], [a])[0].magnitude())
        for a, b in zip(axis[:, left], axis[:, right], strict=True)
    ]
    # the pair's own frame as a rotation matrix, and the axes turned into it
    x = unit(entry[:, left] - entry[:, right])
    mean = h.mean(axis=1)
    z = unit(mean - np.sum(mean * x, axis=-1, keepdims=True) * x)
    own = np.stack([x, np.cross(z, x), z], axis=1)
    inside = np.einsum("nij,nsj->nsi", own, h)
    own_frontal = np.degrees(np.angle(inside[..., 2] + 1j * inside[..., 0]))
    own_sagittal = np.degrees(np.angle(inside[..., 2] - 1j * inside[..., 1]))
    return {
        "angle_deg": np.array(angle),
        "frontal_convergence_deg": frontal.sum(axis=1),
        "sagittal_difference_deg": sagittal[:, left] - sagittal[:, right],
        "own_frontal_convergence_deg": own_frontal[:, right] - own_frontal[:, left],
        "own_sagittal_difference_deg": own_sagittal[:, left] - own_sagittal[:, right],
        "spacing_mm": np.linalg.norm(entry[:, left] - entry[:, right], axis=-1),
        "apex_spacing_mm": np.linalg.norm(apex[:, left] - apex[:, right], axis=-1),
        "left_entry_right_apex_mm": np.linalg.norm(
            entry[:, left] - apex[:, right], axis=-1
        ),
        "right_entry_left_apex_mm": np.linalg.norm(
            entry[:, right] - apex[:, left], axis=-1
        ),
    }


def test_every_figure_of_every_implant_agrees_with_the_independent_calculation(
    made, expected
):
    implants = made["implants"]
    assert len(implants) == 2 * N_CASES
    for name, values in expected.items():
        got = implants[name].to_numpy().reshape(N_CASES, 2)
        np.testing.assert_allclose(got, values, rtol=0, atol=TOLERANCE, err_msg=name)


def test_every_figure_of_every_pair_agrees_with_the_independent_calculation(
    made, generated
):
    pairs = made["pairs"]
    assert len(pairs) == N_CASES
    states = {
        state: pair_figures(generated[f"{state}_entry"], generated[f"{state}_apex"])
        for state in ("planned", "achieved")
    }
    for state, figures in states.items():
        for name, values in figures.items():
            got = pairs[f"{state}_{name}"].to_numpy()
            np.testing.assert_allclose(
                got, values, rtol=0, atol=TOLERANCE, err_msg=f"{state} {name}"
            )
    change = [
        states["achieved"][name] - states["planned"][name]
        for name in ("frontal_convergence_deg", "sagittal_difference_deg")
    ]
    np.testing.assert_allclose(
        pairs["pair_rotation_deg"], np.hypot(*change), rtol=0, atol=TOLERANCE
    )


def test_global_lateral_and_depth_obey_their_identity(made):
    rows = made["implants"]
    total = np.hypot(rows["entry_lateral_mm"], rows["depth_mm"])
    np.testing.assert_allclose(total, rows["entry_3d_mm"], atol=1e-9)


def test_figures_of_the_pair_do_not_change_when_the_result_moves_as_one_body(
    generated, made, tmp_path
):
    """A badly seated guide or a poor superimposition leaves them as they are."""
    rng = np.random.default_rng(7)
    turn = Rotation.from_rotvec(np.radians(rng.normal(0, 3, (N_CASES, 3))))
    shift = rng.normal(0, 1, (N_CASES, 1, 3))
    moved = dict(generated)
    for name in ("achieved_entry", "achieved_apex"):
        points = generated[name]
        turned = np.stack([turn.apply(points[:, i]) for i in range(2)], axis=1)
        moved[name] = turned + shift
    folder = audit_of(tmp_path / "a", {"implants.csv": as_csv(moved)})
    with opened(folder) as audit, audit_records(folder) as records:
        place = records.frame(
            "select case_id as case_key, min(row_number) as place from implants group by 1"
        )
        pairs = audit.frame("select * from measured.pairs").merge(place, on="case_key")
    pairs = pairs.sort_values("place")
    assert len(pairs) == N_CASES
    for name in (
        "achieved_angle_deg",
        "achieved_spacing_mm",
        "achieved_apex_spacing_mm",
        "achieved_own_frontal_convergence_deg",
        "achieved_own_sagittal_difference_deg",
    ):
        np.testing.assert_allclose(
            pairs[name], made["pairs"][name], rtol=0, atol=1e-8, err_msg=name
        )

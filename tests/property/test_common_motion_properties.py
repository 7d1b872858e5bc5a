"""The ten numbers of a pair: what is planted is found, and a rigid motion leaves four alone.

Pairs go through the ordinary doors (a csv file, load, check, measure). Oracles: the
invented clinic's own mode arithmetic, squared distances of the points, and the rigid
fit of scipy.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from synthetic_data import modes as planted_modes
from synthetic_data.truths import MODES, OTHER_MODES, RIGID_MODES
from tests.audits import COORDINATES, audit_of, opened

N_CASES = 60
IN_MM = ("shift_left", "shift_back", "shift_up", "spacing")
UNIT = {name: "mm" if name in IN_MM else "deg" for name in MODES}


@pytest.fixture(scope="module")
def pairs():
    """Planned and achieved (entry, apex), and the planted modes (cases, 10)."""
    rng = np.random.default_rng(20261125)
    length = rng.choice([8.0, 10.0, 12.0], N_CASES)
    half = rng.uniform(8, 12, N_CASES)
    middle = np.zeros((N_CASES, 2, 3))
    middle[:, 0, 0], middle[:, 1, 0] = half, -half
    middle[..., 1] = rng.normal(0, 0.7, (N_CASES, 2))
    lean = np.radians(rng.normal(0, 4, (N_CASES, 2, 2)))
    both = np.repeat(length[:, None], 2, axis=1)
    planned = planted_modes.points(middle, lean, both)
    spacing = np.linalg.norm(planned[0][:, 0] - planned[0][:, 1], axis=-1)
    sd = np.array([0.6 if UNIT[name] == "mm" else np.radians(2) for name in MODES])
    truth = rng.normal(0, sd, (N_CASES, len(MODES)))
    place, turn = planted_modes.from_modes(truth, length, spacing)
    achieved = planted_modes.points(middle + place, lean + turn, both)
    return {"planned": planned, "achieved": achieved, "truth": truth}


def moved(points, degrees, shift, seed):
    """Move each case's points by one rigid motion of about that size."""
    rng = np.random.default_rng(seed)
    turns = Rotation.from_rotvec(np.radians(rng.uniform(-1, 1, (N_CASES, 3)) * degrees))
    by = rng.uniform(-1, 1, (N_CASES, 3)) * shift
    return tuple(
        np.einsum("nij,nsj->nsi", turns.as_matrix(), p) + by[:, None] for p in points
    )


def rows(name, planned, achieved, frame):
    for case in range(N_CASES):
        for i, side in enumerate(("left", "right")):
            points = (planned[0], planned[1], achieved[0], achieved[1])
            numbers = (repr(float(v)) for p in points for v in p[case, i])
            yield f"{name}{case:03d},{side},cbct,{frame}," + ",".join(numbers)


@pytest.fixture(scope="module")
def found(pairs, tmp_path_factory):
    """Tables of measured modes by how the cases were written."""
    as_made = pairs["achieved"]
    written = {
        "A": (as_made, "plan"),
        "M": (moved(as_made, 1.0, 0.5, 1), "plan"),
        "S": (moved(as_made, 0.0, 5.0, 3), "scan"),
        "F": (moved(as_made, 120.0, 80.0, 2), "scan"),
    }
    head = "case_id,side,achieved_source,achieved_frame," + ",".join(COORDINATES)
    lines = [head]
    for name, (achieved, frame) in written.items():
        lines += rows(name, pairs["planned"], achieved, frame)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = audit_of(
            tmp_path_factory.mktemp("pairs") / "a",
            {"implants.csv": "\n".join(lines) + "\n"},
        )
    with opened(folder) as audit:
        table = audit.frame(
            "select m.*, i.row_number from measured.common_motion as m inner join ("
            " select case_key, min(row_number) as row_number from staged.implants"
            " group by case_key) as i using (case_key) order by i.row_number"
        )
    assert len(table) == len(written) * N_CASES
    return {
        name: table.iloc[i * N_CASES : (i + 1) * N_CASES].reset_index(drop=True)
        for i, name in enumerate(written)
    }


def numbers(table, names=MODES):
    return np.column_stack([table[f"{n}_{UNIT[n]}"].to_numpy(float) for n in names])


def in_table_units(modes):
    scale = [1.0 if UNIT[name] == "mm" else np.degrees(1) for name in MODES]
    return modes * np.array(scale)


def test_planted_modes_are_found(pairs, found):
    """To first order, because a planted turn is written as leans and shifts."""
    assert numbers(found["A"]) == pytest.approx(
        in_table_units(pairs["truth"]), abs=0.05
    )


def test_the_table_agrees_with_independent_arithmetic_to_rounding(pairs, found):
    expected = planted_modes.to_modes(pairs["planned"], pairs["achieved"])
    oracle = in_table_units(np.column_stack([expected[name] for name in MODES]))
    assert numbers(found["A"]) == pytest.approx(oracle, abs=1e-9)


def test_the_squared_errors_add_up_exactly(pairs, found):
    """Of the middles and leans; with the points themselves to the second order."""
    table = found["A"]
    middle, lean = planted_modes.middles_and_leans(*pairs["achieved"])
    at, leant = planted_modes.middles_and_leans(*pairs["planned"])
    l2 = table["planned_length_mm"].to_numpy() ** 2
    squares = 2 * ((middle - at) ** 2).sum(axis=(1, 2))
    squares += l2 / 2 * ((lean - leant) ** 2).sum(axis=(1, 2))
    total = (table["rigid_mm2"] + table["not_rigid_mm2"]).to_numpy()
    assert total == pytest.approx(squares, rel=1e-9)
    of_points = sum(
        ((a - p) ** 2).sum(axis=(1, 2))
        for p, a in zip(pairs["planned"], pairs["achieved"], strict=True)
    )
    assert total == pytest.approx(of_points, rel=0.03)


def test_a_small_motion_of_both_changes_only_the_rigid_numbers(found):
    before, after = found["A"], found["M"]
    change = numbers(after, OTHER_MODES) - numbers(before, OTHER_MODES)
    assert np.sqrt((change**2).mean()) < 0.1  # of the second order
    assert np.abs(change).max() < 0.5
    assert (
        np.abs(numbers(after, RIGID_MODES) - numbers(before, RIGID_MODES)).max() > 0.5
    )


def test_without_superimposing_four_numbers_stand_and_any_motion_leaves_them(found):
    """A scan that lies anywhere gives the same four, exactly, and no rigid ones."""
    here, far = (numbers(found[name], OTHER_MODES) for name in "SF")
    assert far == pytest.approx(here, abs=1e-9)
    off = here - numbers(found["A"], OTHER_MODES)
    assert np.sqrt((off**2).mean()) < 0.35  # own directions against the jaw's
    assert found["F"][["rigid_mm2", "roll_deg", "shift_left_mm"]].isna().all(axis=None)


def test_what_no_rigid_motion_makes_is_what_a_rigid_fit_leaves_over(pairs, found):
    """Against scipy's rigid fit of the four points: typically within 2 %."""
    left_over = []
    for case in range(N_CASES):
        p = np.concatenate([points[case] for points in pairs["planned"]])
        a = np.concatenate([points[case] for points in pairs["achieved"]])
        _, misfit = Rotation.align_vectors(a - a.mean(axis=0), p - p.mean(axis=0))
        left_over.append(misfit**2)
    ratio = found["A"]["not_rigid_mm2"].to_numpy() / np.array(left_over)
    assert np.median(ratio) == pytest.approx(1, abs=0.02)
    low, high = np.quantile(ratio, [0.05, 0.95])
    assert low > 0.7
    assert high < 1.35

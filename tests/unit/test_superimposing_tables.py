"""The numbers behind superimposing stand in one place, or agree where they must."""

import numpy as np
import pytest

from pipeline.checked.checks import by_id
from pipeline.geometry.propagation import MODES
from pipeline.geometry.registration import FEWEST_POINTS, LEAST_SPREAD_MM
from pipeline.reference import load

REPEATS_MM = {
    "gnathion": (0.16, 0.24, 0.23),
    "gonion": (0.26, 0.43, 0.52),
    "coronoid": (0.17, 0.13, 0.15),
    "ramus": (0.20, 0.25, 0.45),
}
OTHER_EXAMINER_MM = {
    "gnathion": (0.28, 0.44, 0.39),
    "gonion": (0.32, 0.95, 0.71),
    "coronoid": (0.34, 0.32, 0.18),
    "ramus": (0.42, 0.74, 0.98),
}


def plan_and_scan(errors):
    """Root mean square over the points of the 3-D error, read in two frames."""
    squares = [np.square(xyz).sum() for xyz in errors.values()]
    return np.sqrt(2 * np.mean(squares))


def test_the_default_error_of_a_point_is_that_of_the_printed_table():
    """Lower-jaw landmarks, Data in Brief 2024;54:110402, table 4 (PMC11043836)."""
    rows = load.rows("landmark_errors")
    assert {float(row["fle_mm"]) for row in rows} == {0.72}
    assert plan_and_scan(REPEATS_MM) == pytest.approx(0.72, abs=0.005)
    assert plan_and_scan(OTHER_EXAMINER_MM) == pytest.approx(1.39, abs=0.005)


def test_every_source_of_coordinates_has_a_default_error_of_a_point():
    words = {f.field: f.codes for f in load.fields("implants")}["achieved_source"]
    sources = {row["achieved_source"] for row in load.rows("landmark_errors")}
    assert sources == {*words, "unknown"}


def test_the_limit_of_the_misfit_is_beyond_what_two_examiners_leave():
    """N FRE^2 / (FLE^2 / 3) is chi-square with 3 N - 6 degrees of freedom; N = 6."""
    from scipy.stats import chi2

    limit = float(by_id()["scan-misfit"].high)
    chance = chi2.sf(6 * limit**2 / (plan_and_scan(OTHER_EXAMINER_MM) ** 2 / 3), 12)
    assert chance < 0.001


def test_what_a_check_says_is_too_little_is_what_superimposing_refuses():
    assert float(by_id()["scan-too-few-points"].low) == FEWEST_POINTS
    assert float(by_id()["scan-points-on-a-line"].low) == LEAST_SPREAD_MM


def test_the_sd_of_every_rigid_number_of_a_pair_is_promised():
    promised = {
        row["column"]
        for row in load.rows("columns")
        if row["table"] == "measured.registrations"
    }
    units = {name: "mm" if name.startswith("shift") else "deg" for name in MODES[:6]}
    assert {f"{name}_sd_{unit}" for name, unit in units.items()} <= promised

"""Leans from films against a printed figure, and closed forms by hand."""

import numpy as np
import pytest

from pipeline.tables import add_macros
from pipeline.warehouse import Warehouse


@pytest.fixture(scope="module")
def warehouse():
    with Warehouse() as opened:
        add_macros(
            opened, only=("angle_between_deg", "film_angle_deg", "film_ball_lean_deg")
        )
        yield opened


def test_the_printed_deformity_of_two_views_is_exact_and_not_the_side_of_a_rectangle(
    warehouse,
):
    # PMC4799231, figure 5: 19 degrees seen from the front and 14 from the side are drawn as
    # the sides of a rectangle, and its diagonal read as "24". That rule gives 23.60; the
    # axis (tan 19, tan 14, 1) leans by 23.03 (30 digits), which is what is measured here.
    got = warehouse.value("select film_angle_deg(0, 0, 19, 14)")
    assert got == pytest.approx(23.0312550854, abs=1e-9)
    assert round(np.hypot(19, 14)) == 24
    assert round(got) == 23


@pytest.mark.parametrize(("ratio", "most", "at"), [(1.2, 5.2159086, 42.39)])
def test_unequal_magnification_misleads_by_no_more_than_its_closed_form(
    warehouse, ratio, most, at
):
    # by calculus: tan(image) = k tan(true) is off by at most atan((k - 1) / (2 sqrt k)), at
    # the true lean atan(1 / sqrt k)
    images = np.degrees(np.arctan(ratio * np.tan(np.radians(np.arange(0.5, 89, 0.01)))))
    true = np.array(
        [
            row[0]
            for row in warehouse.run(
                "select film_ball_lean_deg(unnest($images), 1, $ratio)",
                {"images": images.tolist(), "ratio": ratio},
            )
        ]
    )
    off = images - true
    assert off.max() == pytest.approx(most, abs=1e-5)
    assert true[off.argmax()] == pytest.approx(at, abs=0.02)


def test_one_magnification_for_both_ways_turns_no_lean(warehouse):
    # M = image / true: a 5.0 mm ball imaged 6.25 mm both ways is 1.25, which turns nothing
    magnified = 6.25 / 5.0
    got = warehouse.value("select film_ball_lean_deg(11.3, $m, $m)", {"m": magnified})
    assert got == pytest.approx(11.3, abs=1e-12)

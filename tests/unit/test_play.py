"""Play: the largest tilt of a drill in its hole, and what it comes to at the implant."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from pipeline.geometry.play import MEAN_OF_PAIR, play, reach_mm


def test_the_check_values_of_practice():
    """Bore 2.2, length 10, drill 2.0, tissue 2, implant 10 mm; arithmetic."""
    found = play(2.2, 10, 2.0)
    assert float(found.tilt_deg) == pytest.approx(1.14, abs=0.005)
    assert float(found.pair_deg) == pytest.approx(2.29, abs=0.005)
    assert float(found.mean_pair_deg) == pytest.approx(1.0, abs=0.05)
    assert float(reach_mm(found.tilt_deg, 10, 2)) == pytest.approx(0.14, abs=0.005)
    assert float(reach_mm(found.tilt_deg, 10, 12)) == pytest.approx(0.34, abs=0.005)


@given(st.floats(1.0, 6.0), st.floats(1e-6, 2.0), st.floats(2.0, 25.0))
def test_the_tilt_solves_its_equation(drill, more, length):
    bore = drill + more
    tilt = np.radians(float(play(bore, length, drill).tilt_deg))
    assert 0 < tilt < np.pi / 2
    assert bore * np.cos(tilt) - length * np.sin(tilt) == pytest.approx(drill, abs=1e-9)


def test_no_larger_tilt_fits_whatever_the_shift():
    """A drill is turned in a rectangle until it touches; found by bisection."""
    bore, length, drill = 2.3, 8.0, 2.0

    def room(tilt):
        """Width of the hole left for a drill leaning by ``tilt``, at its best place."""
        corners = np.array([[-bore, -length], [-bore, length], [bore, -length]]) / 2
        normal = np.array([np.cos(tilt), np.sin(tilt)])
        left = max(corners[0] @ normal, corners[1] @ normal)
        return 2 * abs(left) - drill

    widest = brentq(room, 0, 0.5)
    assert float(play(bore, length, drill).tilt_deg) == pytest.approx(
        np.degrees(widest), abs=1e-9
    )


@pytest.mark.parametrize("bore", [2.0, 1.9])
def test_a_bore_that_is_not_larger_than_the_drill_has_no_play_by_size(bore):
    found = play(bore, 10, 2.0)
    assert not found.has_play
    assert np.isnan(found.tilt_deg)


def test_a_missing_size_gives_nothing_and_spoils_nothing():
    found = play([2.2, np.nan, 2.2, 2.2], [10, 10, np.nan, 10], [2, 2, 2, np.nan])
    assert found.has_play.tolist() == [True, False, False, False]
    assert np.isnan(found.tilt_deg).tolist() == [False, True, True, True]


def test_the_mean_of_two_even_tilts_is_the_mean_distance_of_two_points_of_a_disc():
    """128/(45 pi) = 0.9054, checked by drawing 400,000 pairs."""
    rng = np.random.default_rng(20261125)
    angle = rng.uniform(0, 2 * np.pi, (2, 400_000))
    radius = np.sqrt(rng.uniform(0, 1, (2, 400_000)))
    place = radius * np.exp(1j * angle)
    assert round(MEAN_OF_PAIR, 4) == 0.9054
    assert np.abs(place[0] - place[1]).mean() == pytest.approx(MEAN_OF_PAIR, abs=2e-3)

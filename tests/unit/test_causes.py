"""The rows of causes, and how a pattern is fitted to the numbers of a pair."""

import numpy as np
import pytest

from pipeline.reference import load
from pipeline.reference.causes import Move, causes
from pipeline.statistics.group_bias import differences
from pipeline.statistics.signatures import MODES, NUMBERS, SIDES, Seen, fit


def seen(**numbers):
    row = np.zeros((1, len(NUMBERS)))
    for name, value in numbers.items():
        row[0, NUMBERS.index(name)] = value
    row[:, len(MODES) :] = np.nan
    one = np.ones(1)
    return Seen(row, np.eye(len(NUMBERS))[None], 10 * one, 16 * one, np.nan * one)


def test_every_row_names_something_that_is_there():
    names = {cause.cause for cause in causes()}
    for table in ("cause_patterns", "cause_facts"):
        assert {row["cause"] for row in load.rows(table)} <= names
    assert [row["number"] for row in load.rows("cause_numbers")] == list(NUMBERS)
    for row in load.rows("cause_patterns"):
        assert row["side"] == "pair" or row["side"] in SIDES
    for row in load.rows("cause_facts"):
        assert row["speaks"] in {"for", "against", "excludes"}


def test_every_cause_can_be_fitted_and_has_a_record_that_would_settle_it():
    for cause in causes():
        assert cause.patterns
        assert cause.settled_by
        for moves in cause.patterns.values():
            assert fit(seen(shift_up=9.0), moves).score.shape == (1,)


def test_the_guide_and_the_superimposition_are_one_cause():
    together = [c for c in causes() if "superimpos" in c.short + c.words]
    assert [c.cause for c in together] == ["guide_or_superimposition"]
    assert "guide" in together[0].short
    assert "superimposition" in together[0].short


def test_an_image_is_named_only_if_one_already_exists():
    images = [cause.image for cause in causes() if cause.image]
    assert images
    assert all(image.endswith("if one already exists") for image in images)
    for cause in causes():
        assert cause.settling.startswith(cause.settled_by)


@pytest.mark.parametrize(("z", "score"), [(1.0, -0.651), (10.0, 15.362)])
def test_the_score_is_half_the_drop_of_schwarz_criterion(z, score):
    """Ten numbers, one of them z, one move that makes it; nothing is left over.

    By hand (Schwarz 1978): no pattern has mean square max(1, z2/10), so z = 10 gives
    5 ln 10 + 5 = 16.513 and a perfect fit 0; less ln(10)/2 = 1.151 for one move: 15.362.
    z = 1: 1/2 - 1.151 = -0.651.
    """
    found = fit(seen(shift_up=z), (Move("pair", "shift_up", "", is_in_guide=False),))
    assert found.score[0] == pytest.approx(score, abs=1e-3)
    assert found.largest[0] == z
    assert np.allclose(found.left_over, 0)


def test_a_lean_about_the_entry_leaves_the_entry_where_it_is():
    move = Move("both", "lean_back", "entry", is_in_guide=False)
    found = fit(seen(pitch=-1.0, shift_back=-5.0), (move,))
    assert np.allclose(found.left_over[0, : len(MODES)], 0)


def test_a_lean_about_a_hole_nobody_measured_is_not_scored():
    move = Move("left", "lean_left", "hole", is_in_guide=False)
    assert np.isnan(fit(seen(roll=1.0), (move,)).score[0])


def test_the_mean_of_a_group_stands_against_the_others_with_their_scatter():
    """t = difference / (s sqrt(1/3 + 1/5)); its tail with 6 df as a normal number.

    Group 0 (1, 2, 3), group 1 (4, 5, 6, 7, 8): means 2 and 6, pooled variance
    (2 + 10)/6 = 2, t = 4/sqrt(2 x 8/15) = 3.873; scipy.stats.t.sf(3.873, 6) = 0.00412,
    norm.isf of that 2.642.
    """
    values = np.array([1.0, 2, 3, 4, 5, 6, 7, 8])[:, None]
    groups = np.array([0, 0, 0, 1, 1, 1, 1, 1])
    difference, error = differences(values, groups, np.zeros((8, 1)))
    assert difference[0, 0] == pytest.approx(-4.0)
    assert abs(difference / error)[0, 0] == pytest.approx(2.642, abs=2e-3)


def test_too_few_pairs_give_no_difference():
    values = np.array([1.0, 2, 3])[:, None]
    difference, _ = differences(values, np.zeros(3, int), np.zeros((3, 1)))
    assert np.isnan(difference).all()


def test_numbers_without_a_locating_error_are_judged_by_their_own_scatter():
    rng = np.random.default_rng(3)
    values = rng.normal(0, 1, (40, 1))
    groups = np.repeat([0, 1], 20)
    unknown = np.full((40, 1), np.nan)
    difference, error = differences(values, groups, unknown)
    known, known_error = differences(values, groups, np.zeros((40, 1)))
    assert np.allclose(difference, known)
    assert np.allclose(error, known_error)


def test_numbers_that_are_all_alike_tell_no_group_apart():
    groups = np.repeat([0, 1], 20)
    difference, _ = differences(np.ones((40, 1)), groups, np.full((40, 1), np.nan))
    assert np.isnan(difference).all()

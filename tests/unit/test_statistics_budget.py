"""The error budget: what both implants share against what each has by itself.

Oracles: covariances by numpy, kurtosis and quantiles by scipy, leaving out by a loop.
"""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import product

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.budget import budget, caution, common_share, refusal
from pipeline.statistics.common_motion import common_motion, null_share
from pipeline.statistics.pair_errors import (
    PairErrors,
    Pairs,
    pairs_from_implants,
)
from pipeline.statistics.variances import (
    Variance,
    average_kurtosis,
    combined,
    degrees_of_freedom,
    excess_kurtosis,
    with_limits,
    without_each,
)
from tests.calibration.planted_pairs import Planted, added, draw, normal

NOT_RIGID = ("spacing", "convergence", "sagittal", "contradiction")
GUIDE = Planted("guide 50 %", 0.5, normal, normal, is_superimposed=True)


def one_audit(n: int, planted: Planted = GUIDE, seed: int = 3) -> Pairs:
    drawn = draw(planted, (1, n), np.random.default_rng(seed))
    numbers = (getattr(drawn.errors, f.name)[0] for f in fields(PairErrors))
    return Pairs(PairErrors(*numbers), drawn.length_mm, drawn.spacing_mm)


def only(pairs: Pairs, keep: np.ndarray) -> Pairs:
    numbers = (getattr(pairs.errors, f.name)[keep] for f in fields(PairErrors))
    return replace(pairs, errors=PairErrors(*numbers))


def test_implants_and_modes_are_two_ways_of_writing_the_same():
    pairs = one_audit(9)
    again = pairs_from_implants(*pairs.implants(), length_mm=12.0, spacing_mm=22.0)
    for field in fields(PairErrors):
        assert getattr(again.errors, field.name) == pytest.approx(
            getattr(pairs.errors, field.name)
        )


def test_the_squared_errors_of_the_ten_numbers_add_up_exactly():
    pairs = one_audit(20)
    left, back, up, lean_left, lean_back = pairs.implants()
    squares = 2 * (left**2 + back**2 + up**2) + pairs.l2 / 2 * (
        lean_left**2 + lean_back**2
    )
    total = pairs.rigid_mm2() + pairs.not_rigid_mm2()
    assert total == pytest.approx(squares.sum(axis=1), rel=1e-12)


def test_what_is_common_is_the_covariance_of_left_and_right():
    pairs = one_audit(25)
    found = budget(pairs)
    left, _, _, lean_left, lean_back = pairs.implants()
    for values, part, name in (
        (left, found.left_right, "left_right"),
        (lean_left, found.frontal_lean, "frontal_lean"),
        (lean_back, found.sagittal_lean, "sagittal_lean"),
    ):
        matrix = np.cov(values.T)
        assert float(part.common.value) == pytest.approx(matrix[0, 1])
        own = (matrix[0, 0] + matrix[1, 1]) / 2 - matrix[0, 1]
        assert float(part.own.value) == pytest.approx(own)
        share = 2 * matrix[0, 1] / (matrix[0, 0] + matrix[1, 1])
        assert float(found.fractions[name].value) == pytest.approx(share)


def test_a_guide_shifted_sideways_is_common_though_it_is_mesial_on_one_side_only():
    """Both move to the patient's left: away from the midline on the left side."""
    shift = np.linspace(-1, 1, 12)
    nothing = np.zeros((12, 2))
    lean = np.random.default_rng(1).normal(0, 0.03, (12, 2))
    pairs = pairs_from_implants(
        np.repeat(shift[:, None], 2, axis=1) + lean,
        nothing + lean,
        nothing + lean[:, ::-1],
        lean,
        lean[::-1],
        length_mm=12.0,
        spacing_mm=22.0,
    )
    assert float(budget(pairs).fractions["left_right"].value) > 0.95


def test_planted_variances_are_found_on_average():
    """Over 4,000 audits of 40 pairs, to three standard errors."""
    drawn = draw(GUIDE, (4000, 40), np.random.default_rng(8))
    truths, found = GUIDE.truths(40), budget(drawn)
    for name in ("left_right", "depth", "see_saw", "frontal_lean", "sagittal_lean"):
        words = name.replace("_", "-" if name in ("left_right", "see_saw") else " ")
        part = getattr(found, name)
        parts = {"common": part.common, "own": part.own}
        for kind, variance in parts.items():
            if variance is not None:
                se = variance.value.std() / np.sqrt(4000)
                assert variance.value.mean() == pytest.approx(
                    truths[f"{kind} {words}"], abs=3.5 * se
                )
    share = common_share(drawn, added(GUIDE, (4000, 40)))
    assert np.median(share.value) == pytest.approx(0.5, abs=0.02)


def test_kurtosis_agrees_with_scipy():
    values = np.random.default_rng(2).standard_t(4, (6, 17))
    assert excess_kurtosis(values) == pytest.approx(
        stats.kurtosis(values, axis=1, bias=False)
    )
    assert excess_kurtosis(np.ones(9)) == 0


def test_without_heavy_tails_the_limits_are_those_of_chi_square():
    values = np.linspace(-1, 1, 15)  # flatter than normal: no degrees are lost
    df = degrees_of_freedom(values, average_kurtosis([values]))
    assert float(df) == pytest.approx(14)
    found = with_limits(np.asarray(4.0), df)
    assert float(found.low) == pytest.approx(4 * 14 / stats.chi2.ppf(0.975, 14))
    assert float(found.high) == pytest.approx(4 * 14 / stats.chi2.ppf(0.025, 14))
    heavy = np.array([0.0] * 14 + [5.0])
    lost = degrees_of_freedom(heavy, average_kurtosis([heavy]))
    assert float(lost) == pytest.approx(2 / (2 / 14 + 8 / 15))


def test_limits_of_a_difference_come_from_those_of_its_terms():
    """With one term they are its own; a minus sign swaps the ends."""
    one = Variance(np.asarray(4.0), np.asarray(3.0), np.asarray(9.0))
    alone = combined((2.0, one))
    assert (float(alone.low), float(alone.high)) == (6.0, 18.0)
    turned = combined((-1.0, one))
    assert (float(turned.low), float(turned.high)) == (-9.0, -3.0)
    both = combined((1.0, one), (-1.0, one))
    assert float(both.low) == pytest.approx(-np.hypot(1, 5))


def test_leaving_out_in_closed_form_equals_leaving_out():
    values = np.random.default_rng(4).normal(3, 2, (2, 9))
    slow = [[np.var(np.delete(row, i), ddof=1) for i in range(9)] for row in values]
    assert without_each(values) == pytest.approx(np.array(slow))


def test_the_interval_of_the_share_is_a_jackknife_over_cases():
    pairs, n = one_audit(14), 14
    extra = added(GUIDE, (n, 1))
    each_added = PairErrors(*(getattr(extra, f.name)[:, 0] for f in fields(PairErrors)))

    def log_ratio(keep: np.ndarray) -> float:
        part = PairErrors(
            *(getattr(each_added, f.name)[keep] for f in fields(PairErrors))
        )
        return float(np.log(1 - common_share(only(pairs, keep), part).value))

    whole = log_ratio(np.arange(n))
    each = np.array([log_ratio(np.delete(np.arange(n), i)) for i in range(n)])
    pseudo = n * whole - (n - 1) * each
    reach = stats.t.ppf(0.975, n - 1) * pseudo.std(ddof=1) / np.sqrt(n)
    found = common_share(pairs, each_added)
    assert float(found.low) == pytest.approx(max(0, 1 - np.exp(whole + reach)))
    assert float(found.high) == pytest.approx(1 - np.exp(whole - reach))


def test_taking_the_superimposition_off_can_only_lessen_the_share():
    pairs = one_audit(30)
    extra = added(GUIDE, (1, 30))
    own = PairErrors(*(getattr(extra, f.name)[0] for f in fields(PairErrors)))
    assert common_share(pairs, own).value < common_share(pairs).value


def test_fewer_than_eight_pairs_are_not_divided_and_fewer_than_fifteen_with_caution():
    with pytest.raises(ValueError, match=r"Not divided: 7 pairs; at least 8"):
        budget(one_audit(7))
    with pytest.raises(ValueError, match="Not divided"):
        common_share(one_audit(7))
    with pytest.raises(ValueError, match="Not divided"):
        common_motion(one_audit(7))
    assert refusal(8) is None
    assert "Too few to divide: 14 pairs" in str(caution(14))
    assert caution(15) is None


def flipped(centred: Pairs, signs: tuple[int, ...]) -> Pairs:
    """Return the pairs with the right implants' errors times the signs, the slow way."""
    sides = np.column_stack([np.ones(len(signs)), signs])
    parts = (part * sides for part in centred.implants())
    return pairs_from_implants(*parts, length_mm=12.0, spacing_mm=22.0)


def test_p_is_the_share_of_all_sign_flips_that_leave_as_little_over():
    """Every one of the 2^8 flips made the slow way, through both implants' errors."""
    centred = one_audit(8).centred()

    def statistic(pairs: Pairs) -> float:
        modes = (getattr(pairs.errors, name) for name in NOT_RIGID)
        return -sum(float(np.log((mode**2).sum())) for mode in modes)

    every = [flipped(centred, signs) for signs in product((1, -1), repeat=8)]
    e = centred.errors
    apart = {name: getattr(e, name) for name in NOT_RIGID}
    # the mean over the flips is what left and right have alone; the rest they share
    seen = -sum(
        np.log(alone + np.sqrt(7 / 8) * ((mode**2).sum() - alone))
        for name, mode in apart.items()
        for alone in [np.mean([(getattr(p.errors, name) ** 2).sum() for p in every])]
    )
    p = (1 + sum(statistic(pairs) >= seen - 1e-9 for pairs in every)) / 257
    found = common_motion(one_audit(8))
    assert found.is_exact
    assert found.p == pytest.approx(p)
    left_over = np.mean([pairs.not_rigid_mm2().sum() for pairs in every])
    total = (centred.rigid_mm2() + centred.not_rigid_mm2()).sum()
    assert found.null_share == pytest.approx(1 - left_over / total)
    assert found.null_share == pytest.approx(null_share(centred))


def test_more_than_twelve_pairs_take_a_drawn_set_of_flips_the_same_on_every_run():
    found, again = common_motion(one_audit(13)), common_motion(one_audit(13))
    assert not found.is_exact
    assert found == again
    assert found.p * 5000 == pytest.approx(round(found.p * 5000))
    assert found.p >= 1 / 5000


def test_many_pairs_are_judged_by_the_normal_sums_their_flips_make(monkeypatch):
    """The same 400 pairs both ways: p agrees within the chance of 4,999 draws."""
    weak = Planted("guide 2 %", 0.02, normal, normal, is_superimposed=False)
    pairs = one_audit(400, weak)
    by_flips = common_motion(pairs).p
    monkeypatch.setattr("pipeline.statistics.common_motion.DRAWN_FLIPS_TO", 100)
    by_sums = common_motion(pairs).p
    assert 0.001 < by_flips < 0.999
    assert by_sums == pytest.approx(by_flips, abs=5 * np.sqrt(0.5 / 5000))
    assert common_motion(one_audit(60_000)).p == 1 / 5000


def test_bias_alone_is_not_taken_for_common_scatter():
    pairs = one_audit(
        16, Planted("own only", 0.0, normal, normal, is_superimposed=False)
    )
    e = pairs.errors
    biased = replace(
        pairs, errors=replace(e, shift_left=e.shift_left + 5, pitch=e.pitch + 0.2)
    )
    assert common_motion(biased).p == common_motion(pairs).p
    assert float(common_share(biased).value) == pytest.approx(
        float(common_share(pairs).value)
    )

"""Two one-sided tests against the reference library and printed examples; sample sizes."""

import numpy as np
import pytest
from scipy.stats import t
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.weightstats import ttost_ind

from pipeline.statistics.equivalence import (
    equivalence,
    patients_for_margin,
    patients_for_width,
)
from pipeline.statistics.means import ClusteredMean, clustered_mean

# NCSS, documentation of two-sample equivalence tests: yields of two kinds
A = [452, 874, 554, 447, 356, 754, 558, 574, 664, 682, 547, 435, 245]
B = [546, 547, 774, 465, 459, 665, 467, 365, 589, 534, 456, 651, 654, 665, 546, 537]


def summary(mean, sd, n):
    return ClusteredMean(n, n, mean, sd, sd / n**0.5, None, None, 1.0, None)


def test_the_printed_yields_are_not_shown_alike_by_every_digit_printed():
    one, other = clustered_mean(A, range(13)), clustered_mean(B, range(16))
    found = equivalence(one, other, 110)
    # the documentation prints Welch p values .03628 and .02002 with df 19.169
    assert sorted((found.p_above, found.p_below)) == pytest.approx(
        [0.02002, 0.03628], abs=5e-6
    )
    assert found.df == pytest.approx(19.169, abs=5e-4)
    assert found.is_equivalent


def test_a_printed_comparison_of_summaries_is_reproduced():
    # 5.25 (sd .95, n 95) against 5.22 (.83, 89), margin .384: t 3.153015 and -2.696056,
    # df 181.1344, p .0009458745 and .003838994 (documentation of the R package TOSTER)
    found = equivalence(summary(5.25, 0.95, 95), summary(5.22, 0.83, 89), 0.384)
    assert found.df == pytest.approx(181.1344, abs=1e-4)
    assert found.p_above == pytest.approx(0.0009458745, rel=1e-6)
    assert found.p_below == pytest.approx(0.003838994, rel=1e-6)


def test_it_agrees_with_the_reference_library_where_each_patient_has_one_value():
    rng = np.random.default_rng(1)
    one, other = rng.gamma(4, 0.4, 24), rng.gamma(4, 0.42, 31)
    found = equivalence(
        clustered_mean(one, range(24)), clustered_mean(other, range(31)), 0.5
    )
    _, above, below = ttost_ind(one, other, -0.5, 0.5, usevar="unequal")
    assert found.p_above == pytest.approx(above[1])
    assert found.p_below == pytest.approx(below[1])
    assert found.df == pytest.approx(above[2])


def test_the_interval_lies_inside_the_margin_exactly_when_it_is_equivalent():
    rng = np.random.default_rng(2)
    for _ in range(200):
        one = clustered_mean(rng.gamma(4, 0.4, 20), range(20))
        other = clustered_mean(rng.gamma(4, 0.4, 20), range(20))
        found = equivalence(one, other, 0.4)
        assert found.is_equivalent == (found.low > -0.4 and found.high < 0.4)
        assert found.is_not_worse == (found.high < 0.4)


def test_two_implants_of_a_patient_count_as_what_they_tell():
    values = np.repeat(np.linspace(0.5, 2.5, 12), 2)
    pairs = clustered_mean(values, np.repeat(np.arange(12), 2))
    alone = clustered_mean(np.linspace(0.5, 2.5, 12), range(12))
    twice, once = equivalence(pairs, pairs, 1), equivalence(alone, alone, 1)
    # the same value twice tells no more than once
    assert twice.high == pytest.approx(once.high)


def test_few_patients_and_a_margin_of_nothing_are_refused():
    few = clustered_mean([1.0, 2.0, 3.0], range(3))
    assert "Too few to say" in (equivalence(few, few, 1).warning or "")
    with pytest.raises(ValueError, match="margin"):
        equivalence(few, few, 0)


@pytest.mark.parametrize("width", [0.3, 0.5, 1.0, 4.0])
def test_the_patients_for_a_width_are_the_fewest_whose_interval_is_so_narrow(width):
    se, n = 0.2, 16
    needed = patients_for_width(se, n, width)

    def width_of(count):
        return 2 * t.ppf(0.975, count - 1) * se * n**0.5 / count**0.5

    assert width_of(needed) <= width
    assert needed == 3 or width_of(needed - 1) > width


def test_the_patients_for_a_margin_are_those_of_the_reference_library():
    # one-sided at 2.5 %, power 80 %, effect margin / sd; the library uses t, so it asks
    # for one or two more
    exact = TTestIndPower().solve_power(
        effect_size=0.5 / 0.8, alpha=0.025, power=0.8, alternative="larger"
    )
    needed = patients_for_margin(0.8, 0.5)
    assert exact - 2 <= needed <= exact + 1
    # by hand: 2 (0.8 x 2.8016 / 0.5)^2 = 40.2
    assert needed == 41


def test_where_patients_do_not_differ_no_number_is_given():
    assert patients_for_width(0.0, 10, 1.0) is None
    assert patients_for_margin(0.0, 1.0) is None

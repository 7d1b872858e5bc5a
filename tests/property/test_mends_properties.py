"""Whatever the pair: undoing its fault brings it back, and a mend done twice is none."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pipeline.checked.diagnoses import limits
from pipeline.checked.mending_words import mends
from pipeline.geometry.diagnosing import diagnose
from pipeline.geometry.mends import Mend, applied
from pipeline.geometry.plausible import Pairs, judged

LIMITS = limits()
TRIED = [m for m in mends() if m.action not in ("shift", "inverse", "states")]


@st.composite
def possible_pairs(draw):
    """A pair as guided placement makes it, anywhere in a scanner."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    half = draw(st.floats(6, 14))
    length = draw(st.sampled_from([8.0, 10.0, 12.0, 14.0]))
    origin = np.array([draw(st.floats(-60, 60)) for _ in "xyz"])
    entry = np.array([[half, 0, 0], [-half, 0, 0]]) + rng.normal(0, 0.4, (2, 3))
    states = []
    for spread_mm, spread in ((0, 0.03), (0.8, 0.05)):
        lean = rng.normal(0, spread, (2, 2))
        axis = np.stack([lean[:, 0], lean[:, 1], -np.ones(2)], axis=-1)
        axis /= np.linalg.norm(axis, axis=-1, keepdims=True)
        head = entry + rng.normal(0, spread_mm, (2, 3))
        states.append(np.stack([head, head + length * axis], axis=1) + origin)
    label = np.full((1, 2), length)
    yes = np.array([True])
    return Pairs(states[0][None], states[1][None], label, label, yes, yes)


@given(possible_pairs(), st.sampled_from(TRIED))
def test_undoing_a_fault_that_is_seen_brings_the_case_back(pairs, mend):
    assume(judged(pairs, LIMITS).is_plausible.all())
    undone = mend
    if mend.action == "scale":
        factor = repr(1 / float(mend.detail))
        undone = Mend("scale", mend.state, mend.side, factor)
    faulty = applied(undone, pairs)
    before = judged(faulty, LIMITS)
    assume(before.count_broken[0] > 0)
    # a case far off by itself keeps more than a fifth of a fault that is no larger
    assume(judged(pairs, LIMITS).misfit[0] < 0.15 * max(before.misfit[0], 1))
    found = diagnose(faulty, LIMITS, mends())
    assert np.isfinite(found.lean_forward_deg[0, mends().index(mend)])
    assert found.also.any()


@given(possible_pairs(), st.sampled_from([m for m in TRIED if m.action != "scale"]))
def test_a_mend_done_twice_leaves_everything_as_it_was(pairs, mend):
    twice = applied(mend, applied(mend, pairs))
    assert twice.planned == pytest.approx(pairs.planned)
    assert twice.achieved == pytest.approx(pairs.achieved)


@given(possible_pairs(), st.floats(-200, 200))
def test_how_plausible_a_pair_is_does_not_depend_on_where_the_origin_lies(pairs, far):
    moved = pairs.with_points(pairs.planned + far, pairs.achieved + far)
    one, other = judged(pairs, LIMITS), judged(moved, LIMITS)
    assert other.misfit == pytest.approx(one.misfit, abs=1e-9)
    assert other.count_broken == pytest.approx(one.count_broken)

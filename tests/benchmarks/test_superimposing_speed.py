"""Superimposing is batched: very many scans at once, without a loop over cases."""

from __future__ import annotations

from time import perf_counter

import numpy as np
from scipy.spatial.transform import Rotation

from pipeline.geometry.propagation import axis_sd_deg, motion_error, tre_mm
from pipeline.geometry.registration import leave_one_out, register

N_CASES = 100_000


def test_a_hundred_thousand_scans_of_six_points_take_under_ten_seconds() -> None:
    """With leaving one out and the expected errors; measured 3 to 4 s on two cores."""
    rng = np.random.default_rng(1)
    plan = rng.normal(0, [20, 15, 8], (N_CASES, 6, 3))
    turn = Rotation.random(N_CASES, rng=rng).as_matrix()
    scan = plan @ turn.transpose(0, 2, 1) + rng.normal(0, 0.3, plan.shape)
    axes = np.broadcast_to([0, 0, -1.0], (N_CASES, 2, 3))
    begin = perf_counter()
    found = register(plan, scan)
    left_out = leave_one_out(plan, scan)
    error = motion_error(plan, np.full((N_CASES, 6), 0.09))
    entries = tre_mm(error, plan[:, :2])
    leans = axis_sd_deg(error, axes)
    seconds = perf_counter() - begin
    is_known = ~found.is_refused
    assert is_known.mean() > 0.99
    assert np.isfinite(found.fre_mm[is_known]).all()
    assert np.isfinite(left_out.distance_mm[is_known]).mean() > 0.99
    assert np.isfinite(entries[is_known]).all()
    assert np.isfinite(leans[is_known]).all()
    assert seconds < 10

"""The mean of a group against the others, in units of what chance gives it.

Bias is what is the same each time (laboratory, index, ridge); scatter is what differs.
The scatter within the groups is pooled; a difference counts its degrees of freedom, so
that few cases need a larger one to be seen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr

Floats = NDArray[np.float64]

FEWEST_IN_GROUP = 3
FEWEST_DF = 5
"""Degrees of freedom below which the scatter is not believed."""


def differences(
    values: Floats, groups: NDArray[np.intp], least_sd: Floats
) -> tuple[Floats, Floats]:
    """Return each group's mean less that of all others, and its standard error.

    With one group the mean stands against 0. The standard error is such that difference
    / error has the tail of a normal number.

    Args:
        values: (n, k), NaN where not known.
        groups: number of the group of each row, (n,), from 0 without gaps.
        least_sd: error of locating, (n, k); a scatter below it is not believed.

    Returns:
        Two arrays (groups, k); NaN where there are too few.
    """
    n_groups = int(groups.max()) + 1
    shape = (n_groups, values.shape[1])
    difference, error = np.full(shape, np.nan), np.full(shape, np.nan)
    for at in range(values.shape[1]):
        known = np.isfinite(values[:, at])
        column, own = values[known, at], groups[known]
        count = np.bincount(own, minlength=n_groups)
        df = len(column) - int((count > 0).sum())
        if df < FEWEST_DF:
            continue
        mean = np.bincount(own, column, n_groups) / np.maximum(count, 1)
        within = ((column - mean[own]) ** 2).sum() / df
        spread = max(within, _mean_square(least_sd[known, at]))
        if spread <= 0:
            continue
        rest = len(column) - count
        others = np.zeros(n_groups)
        if n_groups > 1:
            others = (column.sum() - mean * count) / np.maximum(rest, 1)
        told = (count >= FEWEST_IN_GROUP) & (
            (rest >= FEWEST_IN_GROUP) | (n_groups == 1)
        )
        share = 1 / np.maximum(count, 1)
        if n_groups > 1:
            share = share + 1 / np.maximum(rest, 1)
        found = mean - others
        t = np.abs(found) / np.sqrt(spread * share)
        tail = np.clip(stdtr(df, -t), 1e-300, 0.5)
        z = np.maximum(-ndtri(tail), 1e-9)
        difference[told, at] = found[told]
        error[told, at] = np.where(t > 0, np.abs(found) / z, np.sqrt(spread * share))[
            told
        ]
    return difference, error


def _mean_square(sds: Floats) -> float:
    """Return the mean square of what is known; 0 where nothing is."""
    known = sds[np.isfinite(sds)]
    return float(np.mean(known**2)) if known.size else 0.0

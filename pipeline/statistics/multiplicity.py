"""Several estimates at once: p values that allow for how many were looked at."""

from __future__ import annotations

from collections.abc import Sequence


def holm(p_values: Sequence[float]) -> list[float]:
    """P values adjusted step by step, so that one false finding in all stays rare.

    The j-th smallest of k is multiplied by k - j + 1, and none falls below a smaller one
    (Holm, Scand J Stat 1979;6:65-70). Valid however the estimates hang together.
    """
    adjusted = [0.0] * len(p_values)
    largest = 0.0
    in_order = sorted(range(len(p_values)), key=lambda at: p_values[at])
    for count_before, at in enumerate(in_order):
        scaled = (len(p_values) - count_before) * p_values[at]
        largest = max(largest, min(1.0, scaled))
        adjusted[at] = largest
    return adjusted

"""What a fitted factor model says of itself, in words."""

from __future__ import annotations

from pipeline.statistics.factors import LEAST, FactorModel
from pipeline.statistics.patients import counted

SKEWED, VERY_SKEWED = 0.5, 1.0
"""Skewness from which a distribution is called skewed and very skewed (Bulmer,
Principles of Statistics, 2nd ed. 1967, chapter 4)."""

LITTLE_BETWEEN = 0.005
"""A share of the spread below this rounds to 0 %."""


def diagnostics(model: FactorModel) -> str | None:
    """Say how far the fit can be trusted; None where nothing was fitted."""
    if model.model is None or model.skewness is None:
        return None
    said = [_shape(model.skewness), _spread(model), _single(model)]
    if model.count_least:
        said.append(
            f"{counted(model.count_least, 'value')} below {LEAST:g} counted as"
            f" {LEAST:g}."
        )
    return " ".join(said)


def _shape(skewness: float) -> str:
    side = "small" if skewness < 0 else "large"
    if abs(skewness) < SKEWED:
        return f"The residuals are even (skewness {skewness:.1f})."
    if abs(skewness) < VERY_SKEWED:
        return f"The residuals reach out to {side} values (skewness {skewness:.1f})."
    return (
        f"The residuals reach far out to {side} values (skewness {skewness:.1f}): read"
        " interval and p with caution."
    )


def _spread(model: FactorModel) -> str:
    if model.n_values == model.n_patients:
        return "Each patient has one implant."
    edge = model.model.at_edge if model.model else ""
    if edge == "none within":
        return "The implants of each patient are as good as alike: look for copies."
    if edge == "none between" or (model.icc or 0) < LITTLE_BETWEEN:
        return "The fit converged; patients differ no more than their implants do."
    return f"The fit converged; {model.icc:.0%} of the spread lies between patients."


def _single(model: FactorModel) -> str:
    found = model.fragile
    if found is None:
        return "No patient moves an estimate by a tenth of its standard error."
    said = (
        f"Without one patient the ratio of {found.term.level!r} would be"
        f" {found.ratio_without:.2f}"
        f" instead of {found.ratio:.2f}"
    )
    if found.is_changed:
        return f"{said}: it rests on that patient."
    return f"{said}; no patient moves an estimate more."

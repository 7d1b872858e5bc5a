"""Which software makes the figures: for the page, the methods and a frozen run."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

FIGURES_COME_FROM = (
    "duckdb",
    "great-expectations",
    "numpy",
    "pandas",
    "scipy",
    "statsmodels",
)
"""The libraries whose other version could change a figure."""


def our_version() -> str:
    """Return the version of plumbpost, also in a checkout that is not installed."""
    try:
        return version("plumbpost")
    except PackageNotFoundError:
        return "checkout"


def software() -> dict[str, str]:
    """Return name and version of all that the figures depend on, Python's minor first."""
    python = ".".join(platform.python_version_tuple()[:2])
    libraries = {name: version(name) for name in FIGURES_COME_FROM}
    return {"python": python, "plumbpost": our_version(), **libraries}

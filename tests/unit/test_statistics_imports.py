"""The estimators stay light: arrays in, dataclass out."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import FrozenInstanceError
from pkgutil import iter_modules

import pytest

import pipeline.statistics
from pipeline.statistics.means import clustered_mean

MODULES = [
    f"pipeline.statistics.{m.name}" for m in iter_modules(pipeline.statistics.__path__)
]


def test_they_load_neither_a_database_nor_frames_nor_slow_libraries() -> None:
    heavy = ["duckdb", "pandas", "scipy.stats", "statsmodels", "altair"]
    code = f"import sys, {', '.join(MODULES)}; print([m for m in {heavy} if m in sys.modules])"
    answer = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "[]"


def test_a_result_cannot_be_changed() -> None:
    result = clustered_mean([1.0, 2.0], [1, 2])
    with pytest.raises(FrozenInstanceError):
        result.mean = 0.0  # type: ignore[misc]

"""The judge: great-expectations holds the limits against frames of evidence.

SQL is the witness (the evidence tables), great-expectations the judge. It is heavy,
so it is imported late, and :func:`warm_up` can begin the import while DuckDB works.
Frames hold at most five columns, because every check of a frame copies all of it.
Nothing leaves the machine: its context lives in memory and its analytics are off.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import importlib
import os
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from pipeline.checked.checks import Check
from pipeline.checked.vocabulary import Outcome

if TYPE_CHECKING:
    import pandas as pd

COLUMNS_A_FRAME = 5
_LIBRARY = "great_expectations"
_warming: list[threading.Thread] = []


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of one check.

    Attributes:
        check: the check.
        outcome: error (it could not be judged), not applicable (no value to judge),
            failed or passed.
        count_failed: rows of evidence outside the limits.
        count_judged: rows of evidence that had a value.
    """

    check: Check
    outcome: Outcome
    count_failed: int
    count_judged: int


def _import_quietly() -> None:
    with contextlib.suppress(ImportError):  # whoever needs it will meet the error
        importlib.import_module(_LIBRARY)


def warm_up() -> None:
    """Begin to import the judge in the background; returns at once."""
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    if not _warming:
        thread = threading.Thread(target=_import_quietly, name="warm-up", daemon=True)
        thread.start()
        _warming.append(thread)


def _library() -> Any:
    """Return the library, waiting for an import that has begun."""
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    for thread in _warming:
        thread.join()
    return importlib.import_module(_LIBRARY)


@cache
def _batch_definition() -> Any:
    """Return the one in-memory definition that every frame is judged through."""
    library = _library()
    from great_expectations.data_context.types.base import ProgressBarsConfig

    context = library.get_context(mode="ephemeral")
    context.enable_analytics(False)  # noqa: FBT003 - their signature
    context.variables.progress_bars = ProgressBarsConfig(globally=False)
    asset = context.data_sources.add_pandas("memory").add_dataframe_asset("evidence")
    return asset.add_batch_definition_whole_dataframe("all rows")


def fives(checks: Sequence[Check]) -> Iterator[Sequence[Check]]:
    """Yield the checks five at a time."""
    for first in range(0, len(checks), COLUMNS_A_FRAME):
        yield checks[first : first + COLUMNS_A_FRAME]


def judge(
    frame: pd.DataFrame, checks: Sequence[Check], run_date: dt.date
) -> list[Verdict]:
    """Judge a frame of evidence.

    Args:
        frame: float64 columns named as the checks' evidence; NaN is no value.
        checks: the checks, with different check_ids.
        run_date: day of the run, which some limits are.

    Returns:
        One verdict a check, in their order.
    """
    library, definition = _library(), _batch_definition()
    suite = library.ExpectationSuite(name="checks")
    for check in checks:
        low, high = check.limits(run_date)
        suite.add_expectation(
            library.expectations.ExpectColumnValuesToBeBetween(
                column=check.evidence,
                min_value=low,
                max_value=high,
                meta={"check_id": check.check_id},
            )
        )
    batch = definition.get_batch(batch_parameters={"dataframe": frame})
    validation = batch.validate(
        suite, result_format={"result_format": "BASIC", "partial_unexpected_count": 0}
    )
    # results come back in another order, so they are told apart by their own name
    found = {
        result.expectation_config.meta["check_id"]: result.result
        for result in validation.results
    }
    return [_verdict(check, found[check.check_id]) for check in checks]


def _verdict(check: Check, result: Mapping[str, Any]) -> Verdict:
    """Turn one result into one of four outcomes.

    A check that raised comes back without counts, whatever its exception looks like.
    A column without any value comes back as a success, which it is not.
    """
    if "element_count" not in result:
        return Verdict(check, "error", 0, 0)
    count_judged = int(result["element_count"]) - int(result["missing_count"])
    count_failed = int(result["unexpected_count"])
    if count_judged == 0:
        return Verdict(check, "not applicable", 0, 0)
    outcome: Outcome = "failed" if count_failed else "passed"
    return Verdict(check, outcome, count_failed, count_judged)

"""Find typing errors in a table of published figures, ours or a reader's own.

Published abstracts carry misprints: an interval without its mean, an angle in mm, a
count that is not its percentage. A comparison made against one of them is wrong
however careful the clinic was, so the table is held to the same suspicion as records.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

Row = Mapping[str, str]

REQUIRED = ("key", "citation", "measure", "statistic", "value", "source_status")
STATISTICS = ("mean", "pooled_mean", "max", "p95", "study_mean_low", "study_mean_high")
STATUSES = ("seen", "memory", "derived", "secondary")
AVERAGES = ("mean", "pooled_mean")
ARM = (
    "citation",
    "jaw",
    "edentulism",
    "guide_support",
    "guidance",
    "guide_method",
    "measure",
)
NUMBERS = ("value", "sd", "ci_low", "ci_high", "n_implants", "n_patients", "n_studies")
# Beyond these a figure is in another unit: no implant of a jaw is 30 mm off, means stay
# far below 10 mm, a mean angle under 0.1 degrees is one written in radians.
LARGEST = {"mm": 30.0, "deg": 90.0, "percent": 100.0}
LARGEST_MEAN = {"mm": 10.0, "deg": 45.0, "percent": 100.0}
SMALLEST_MEAN_ANGLE_DEG = 0.1
PARTS = {
    "entry_lateral_mm": "entry_3d_mm",
    "depth_size_mm": "entry_3d_mm",
    "apex_lateral_mm": "apex_3d_mm",
}
Z_95 = 1.959964
RATIO = re.compile(r"(\d+)\s*(?:of|/)\s*(\d+)\s*\(\s*(\d+(?:[.,]\d+)?)\s*%\s*\)")


def number(row: Row, column: str) -> float | None:
    """Return a cell as a number; None when it is empty or not a finite number."""
    try:
        value = float(row.get(column, "") or "nan")
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def unit_of(measure: str) -> str:
    """Return mm, deg or percent by the last part of a measure's name, or an empty text."""
    ending = measure.rsplit("_", 1)[-1]
    return ending if ending in LARGEST else ""


def _cells(row: Row) -> Iterator[str]:
    for column in REQUIRED:
        if not (row.get(column) or "").strip():
            yield f"{column} is empty"
    for column in NUMBERS:
        if (row.get(column) or "").strip() and number(row, column) is None:
            yield f"{column} is not a number"
    if (row.get("statistic") or "mean") not in STATISTICS:
        yield f"statistic must be one of {', '.join(STATISTICS)}"
    if (row.get("source_status") or "seen") not in STATUSES:
        yield f"source_status must be one of {', '.join(STATUSES)}"


def _signs(row: Row) -> Iterator[str]:
    sd = number(row, "sd")
    if sd is not None and sd <= 0:
        yield "sd is not positive"
    for column in ("n_implants", "n_patients", "n_studies"):
        count = number(row, column)
        if count is not None and (count < 1 or count != int(count)):
            yield f"{column} is not a positive whole number"
    implants, patients = number(row, "n_implants"), number(row, "n_patients")
    if implants is not None and patients is not None and patients > implants:
        yield "more patients than implants"


def _interval(row: Row) -> Iterator[str]:
    value, low, high = (number(row, c) for c in ("value", "ci_low", "ci_high"))
    if (low is None) != (high is None):
        yield "only one end of the interval is given"
    if low is None or high is None:
        return
    if low > high:
        yield "interval runs from high to low"
    elif value is not None and not low <= value <= high:
        yield "interval does not contain its mean: typing error in the source?"


def _spread(row: Row) -> Iterator[str]:
    sd, low, high = (number(row, c) for c in ("sd", "ci_low", "ci_high"))
    n = number(row, "n_implants")
    if sd is None or low is None or high is None or n is None or n <= 2 or high <= low:
        return
    if math.isclose((high - low) / 2, Z_95 * sd, rel_tol=0.1):
        yield "sd looks like a standard error: the interval is mean ± 1.96 of it"


def _unit(row: Row) -> Iterator[str]:
    unit = unit_of(row.get("measure") or "")
    if not unit:
        yield "measure does not end in its unit, _mm, _deg or _percent"
        return
    written = (row.get("unit") or "").strip()
    if written and written != unit:
        yield f"unit {written} does not fit the measure, which is in {unit}"
    value, is_average = number(row, "value"), row.get("statistic") in AVERAGES
    if value is None:
        return
    if value < 0:
        yield "a size cannot be negative"
    if value > (LARGEST_MEAN if is_average else LARGEST)[unit]:
        yield f"too large for {unit}: another unit?"
    if is_average and unit == "deg" and 0 < value < SMALLEST_MEAN_ANGLE_DEG:
        yield "too small for a mean in degrees: radians?"


def _ratio(row: Row) -> Iterator[str]:
    for text in row.values():
        for met, total, percent in RATIO.findall(text or ""):
            digits = len(percent.replace(",", ".").partition(".")[2])
            printed = float(percent.replace(",", "."))
            is_right = int(total) and math.isclose(
                100 * int(met) / int(total), printed, abs_tol=0.5001 * 10**-digits
            )
            if not is_right:
                yield f"{met} of {total} is not {percent} %"


ROW_CHECKS: tuple[Callable[[Row], Iterator[str]], ...] = (
    _cells,
    _signs,
    _interval,
    _spread,
    _unit,
    _ratio,
)


def _twice(rows: Sequence[Row]) -> Iterator[str]:
    counts = Counter(row.get("key", "") for row in rows)
    yield from (f"{key}: key occurs {n} times" for key, n in counts.items() if n > 1)


def _repeated(rows: Sequence[Row]) -> Iterator[str]:
    """A mean with the same sd twice in a study, or the same interval anywhere."""
    first: dict[tuple[str, ...], str] = {}
    for row in rows:
        value, sd = row.get("value", ""), row.get("sd", "")
        ends = (row.get("ci_low", ""), row.get("ci_high", ""))
        signs: list[tuple[str, ...]] = []
        if value and sd:
            signs.append(("sd", row.get("citation", ""), value, sd))
        if value and all(ends):
            signs.append(("interval", row.get("measure", ""), value, *ends))
        for sign in signs:
            earlier = first.setdefault(sign, row.get("key", ""))
            if earlier != row.get("key", ""):
                yield f"{row.get('key', '')}: repeats the figures of {earlier}"


def _ordered(rows: Sequence[Row]) -> Iterator[str]:
    """Within one arm and measure: low <= high, mean <= p95 <= max."""
    arms: dict[tuple[str, ...], dict[str, float]] = defaultdict(dict)
    keys: dict[tuple[str, ...], str] = {}
    for row in rows:
        value = number(row, "value")
        arm = tuple(row.get(column, "") for column in ARM)
        statistic = row.get("statistic", "")
        if value is None or statistic not in STATISTICS:
            continue
        largest = statistic not in ("mean", "pooled_mean", "study_mean_low")
        choose = max if largest else min
        arms[arm][statistic] = choose(value, arms[arm].get(statistic, value))
        keys.setdefault(arm, row.get("key", ""))
    pairs = (
        ("study_mean_low", "study_mean_high"),
        ("mean", "max"),
        ("pooled_mean", "max"),
        ("mean", "p95"),
        ("p95", "max"),
    )
    for arm, found in arms.items():
        for low, high in pairs:
            if low in found and high in found and found[low] > found[high]:
                yield f"{keys[arm]}: {low} is above {high}, range reversed?"


def _parts(rows: Sequence[Row]) -> Iterator[str]:
    """A part of a distance cannot be larger on average than the whole."""
    wholes: dict[tuple[str, ...], float] = {}
    arm = [column for column in ARM if column != "measure"]
    for row in rows:
        value = number(row, "value")
        if row.get("statistic") == "mean" and value is not None:
            place = (*(row.get(column, "") for column in arm), row.get("measure", ""))
            wholes[place] = max(value, wholes.get(place, value))
    for row in rows:
        part = row.get("measure", "")
        value = number(row, "value")
        whole = PARTS.get(part)
        if whole and value is not None and row.get("statistic") == "mean":
            place = (*(row.get(column, "") for column in arm), whole)
            if value > wholes.get(place, math.inf):
                yield f"{row.get('key', '')}: {part} is larger than {whole}"


def lint_published(rows: Iterable[Row]) -> list[str]:
    """Return what looks wrong in a table of published figures, one sentence each.

    Looked for: empty or unreadable cells, sd or numbers of people that are not
    positive, an interval that is reversed or does not contain its mean, a standard
    error given as sd, a value that does not fit the unit of its measure, "a of b (c %)"
    that is not so in any text, a mean with its sd given twice in one study or with its
    interval twice anywhere, reversed ranges, and a part larger than the whole.

    Args:
        rows: rows of a table with the columns of ``published_accuracy.csv`` (and
            optionally ``unit``); missing columns count as empty.

    Returns:
        Sentences that begin with the row's key; empty when nothing was found.
    """
    table = list(rows)
    found = [
        f"{row.get('key') or f'row {number_of_row}'}: {sentence}"
        for number_of_row, row in enumerate(table, start=1)
        for check in ROW_CHECKS
        for sentence in check(row)
    ]
    for check_all in (_twice, _repeated, _ordered, _parts):
        found.extend(check_all(table))
    return found


def sd_divisor(
    values: Sequence[float], printed_sd: float, *, sd_digits: int, row_digits: int
) -> str:
    """Tell which divisor a printed sd was made with, from the rows behind it.

    Rows rounded to h either side move an sd by about h/sqrt(3n); twice that, and half
    the last digit of the sd itself, is the room allowed.

    Args:
        values: the values of the rows.
        printed_sd: the sd as printed.
        sd_digits: decimals the sd was printed with.
        row_digits: decimals the rows were printed with.

    Returns:
        ``n-1``, ``n``, ``either`` or ``neither``.

    Raises:
        ValueError: fewer than two values.
    """
    n = len(values)
    if n < 2:
        raise ValueError("an sd needs at least two values")
    mean = math.fsum(values) / n
    squares = math.fsum((value - mean) ** 2 for value in values)
    half_row = 0.5 * 10.0**-row_digits
    room = 0.5 * 10.0**-sd_digits + 2 * half_row / math.sqrt(3 * n)
    fits = [
        name
        for name, divisor in (("n-1", n - 1), ("n", n))
        if abs(math.sqrt(squares / divisor) - printed_sd) <= room
    ]
    if len(fits) == 2:
        return "either"
    return fits[0] if fits else "neither"

"""Cases side by side in blocks: each in date order, over the band it is compared with."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.matching import cases_compared
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure

FEWEST_PLACES_BETWEEN = 3
"""Empty places between two blocks; the mean of a block stands in the first of them."""

MOST_LABELS = 12
"""Day labels along a strip."""


@dataclass(frozen=True)
class Block:
    """Cases that share a band.

    Attributes:
        letter: names the block on the chart and in its key.
        verdict: the comparison; None for cases no published set fits.
        places: place along the strip by case code.
    """

    letter: str
    verdict: Row | None
    places: dict[str, float]

    @property
    def start(self) -> float:
        """Left edge of the block."""
        return min(self.places.values()) - 0.7

    @property
    def end(self) -> float:
        """Right edge of the block."""
        return max(self.places.values()) + 0.7


def blocks_of(audit: AuditTables, known: Measure, rows: list[Row]) -> list[Block]:
    """Sort the cases that hold a figure into blocks, the largest comparison first."""
    with_figure = {row["case"] for row in rows}
    left = [case["case_key"] for case in audit.cases if case["case_key"] in with_figure]
    gap = gap_for(len(left))
    groups: list[tuple[Row | None, list[str]]] = []
    for verdict in audit.verdicts:
        if verdict["measure"] == known.name:
            chosen = cases_compared(audit, verdict)
            groups.append((verdict, [case for case in left if case in chosen]))
            left = [case for case in left if case not in chosen]
    groups.append((None, left))
    blocks: list[Block] = []
    at = 0.0
    for compared, cases in groups:
        if cases:
            letter = chr(ord("A") + len(blocks))
            places = {case: at + place for place, case in enumerate(cases)}
            blocks.append(Block(letter, compared, places))
            at += len(cases) + gap
    return blocks


def gap_for(n: int) -> float:
    """Return the empty places between blocks, more where the places are narrow."""
    return max(FEWEST_PLACES_BETWEEN, n // 25)


def band(block: Block) -> Row:
    """Return the published band of a block as a row of a chart."""
    verdict = block.verdict or {}
    return {
        "start": block.start,
        "end": block.end,
        "low": verdict["band_low"],
        "high": verdict["band_high"],
    }


def edges(block: Block) -> list[Row]:
    """Return the band's edges widened by the error of measuring."""
    verdict = block.verdict or {}
    low = max(0.0, verdict["band_low"] - verdict["floor"])
    return [
        {"start": block.start, "end": block.end, "at": at}
        for at in (low, verdict["band_high"] + verdict["floor"])
    ]


def has_interval(block: Block) -> bool:
    """Say whether the verdict of a block has a mean with an interval."""
    verdict = block.verdict or {}
    return all(verdict[name] is not None for name in ("mean", "mean_low", "mean_high"))


def mean(block: Block) -> Row:
    """Return mean and interval of a block, to stand behind its last case."""
    verdict = block.verdict or {}
    return {
        "place": block.end + 0.3 * gap_for(len(block.places)),
        "mean": verdict["mean"],
        "low": verdict["mean_low"],
        "high": verdict["mean_high"],
    }


def day_labels(audit: AuditTables, blocks: list[Block]) -> list[Row]:
    """Label some places with the month of surgery, far enough apart to be read."""
    n_places = max(max(block.places.values()) for block in blocks) + 1
    step = max(1.0, n_places / MOST_LABELS)
    labels: list[Row] = []
    for block in blocks:
        said = ""
        for case, at in block.places.items():
            text = _month(audit, case)
            if text != said and (not labels or at - labels[-1]["place"] >= step):
                labels.append({"place": at, "text": text})
                said = text
    return labels


def _month(audit: AuditTables, case: str) -> str:
    day = audit.case_of[case]["surgery_date"]
    if day is None:
        return audit.words("strip.no_day")
    return (
        f"{audit.words.listed('calendar.months')[day.month - 1]} {day.year % 100:02d}"
    )

"""Rows of summarised.association and summarised.rates_by_cut: trouble against angles.

The model is laid down beforehand: attachment trouble after settling in, a step of 5
degrees, once alone and once with the other angle, the kind of attachment and the insert
held alike. What the events cannot carry is left out of the second, and named.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.reference import load
from pipeline.statistics.association import doubt_about_fit, rate_ratio
from pipeline.statistics.patients import group_by_patient
from pipeline.statistics.rates import event_rate
from pipeline.summarised.event_rates import rate_figures
from pipeline.summarised.follow_up import (
    WHOLE_TIME,
    Flags,
    Floats,
    FollowUp,
    Places,
)

if TYPE_CHECKING:
    import pandas as pd

GROUP = "attachment"
STEP_DEG = 5.0
SOURCE_OF = {
    "achieved_angle_deg": "angle_source",
    "lean_forward_deg": "lean_source",
}
"""The two angles, each with the column that says what it was read from."""

READS = ("summarised.denture_angles",)
Block = tuple[str, Floats]


@dataclass
class Angles:
    """Dentures with trouble, time and angles as arrays, in the order of their place.

    Args:
        follow_up: dentures and events of the cases that count.
    """

    follow_up: FollowUp

    @cached_property
    def frame(self) -> pd.DataFrame:
        """One row a denture."""
        return self.follow_up.warehouse.frame(
            "select * from summarised.denture_angles order by place"
        )

    @cached_property
    def counts(self) -> Places:
        """Trouble with the attachment of each denture, after settling in."""
        return self.follow_up.counts(GROUP, WHOLE_TIME)

    @cached_property
    def years(self) -> Floats:
        """Years each denture was watched after settling in."""
        return self.follow_up.years(WHOLE_TIME)

    def of(self, measure: str) -> Floats:
        """Return an angle of each denture; not a number where it is not known."""
        return self.frame[measure].to_numpy(dtype=np.float64)

    def known(self, measure: str) -> tuple[Flags, str | None]:
        """Say which dentures were watched and have the angle from its main source.

        Sources differ in what they can see, so they are not merged: the one that most
        dentures have is taken.
        """
        source = self.frame[SOURCE_OF[measure]]
        is_known = np.isfinite(self.of(measure)) & (self.years > 0)
        found = source[is_known].value_counts()
        if found.empty:
            return is_known, None
        main = min(found.index[found == found.iloc[0]])
        return is_known & (source == main).to_numpy(dtype=bool), str(main)

    def words(self, name: str) -> Floats:
        """Return a column of 0 and 1 a word of a text column, but the commonest."""
        frame = (
            self.follow_up.dentures["attachment"]
            if name == "attachment"
            else self.frame[name]
        )
        text = frame.fillna("not given")
        words = list(text.value_counts(sort=True).index)[1:]
        columns = [(text == word).to_numpy(dtype=np.float64) for word in sorted(words)]
        return np.column_stack(columns) if columns else np.empty((len(text), 0))


def association_rows(follow_up: FollowUp) -> Iterator[dict[str, Any]]:
    """Yield a row an angle alone, and one with the others held alike."""
    angles = Angles(follow_up)
    for measure in SOURCE_OF:
        is_known, source = angles.known(measure)
        yield _row(angles, measure, source, is_known, [], "alone")
        is_fit, blocks = _held_alike(angles, measure, is_known)
        if blocks:
            yield _row(angles, measure, source, is_fit, blocks, "adjusted")


def _held_alike(
    angles: Angles, measure: str, is_known: Flags
) -> tuple[Flags, list[Block]]:
    """Return what the events can carry: the other angle, the kind, the insert."""
    other = next(name for name in SOURCE_OF if name != measure)
    is_both = is_known & angles.known(other)[0]
    offered = [(other, angles.of(other)[:, None] / STEP_DEG, is_both)]
    offered += [
        (name, angles.words(name), is_known) for name in ("attachment", "insert_grade")
    ]
    blocks: list[Block] = []
    is_fit = is_known
    for name, columns, has_it in offered:
        is_tried = is_fit & has_it
        tried = [*blocks, (name, columns)]
        if columns.shape[1] and _can_be_fitted(angles, measure, is_tried, tried):
            is_fit, blocks = is_tried, tried
    return is_fit, blocks


def _can_be_fitted(
    angles: Angles, measure: str, chosen: Flags, blocks: list[Block]
) -> bool:
    counts, patients = group_by_patient(
        angles.counts[chosen], angles.follow_up.patients[chosen]
    )
    design = np.column_stack(
        [
            np.ones(counts.size),
            angles.of(measure)[chosen] / STEP_DEG,
            *(columns[chosen] for _, columns in blocks),
        ]
    )
    return doubt_about_fit(counts, patients, design) is None


def _row(
    angles: Angles,
    measure: str,
    source: str | None,
    chosen: Flags,
    blocks: list[Block],
    model: str,
) -> dict[str, Any]:
    others = (
        np.column_stack([columns[chosen] for _, columns in blocks]) if blocks else None
    )
    found = rate_ratio(
        angles.counts[chosen],
        angles.years[chosen],
        angles.follow_up.patients[chosen],
        angles.of(measure)[chosen] / STEP_DEG,
        others,
    )
    return {
        "event_group": GROUP,
        "measure": measure,
        "model": model,
        "held_alike": "|".join(name for name, _ in blocks),
        "source": source,
        "count_dentures": int(np.count_nonzero(chosen)),
        "n_patients": found.n_clusters,
        "count_events": found.count_events,
        "exposure_years": found.exposure,
        "step_deg": STEP_DEG,
        "rate_ratio": found.ratio,
        "ratio_low": found.low,
        "ratio_high": found.high,
        "note": found.warning,
    }


def cut_rows(follow_up: FollowUp) -> Iterator[dict[str, Any]]:
    """Yield the rate on each side of every cut in print."""
    angles = Angles(follow_up)
    for printed in load.rows("attachment_angles_published"):
        if not printed["cut_deg"]:
            continue
        measure, cut = printed["measure"], float(printed["cut_deg"])
        is_known, _ = angles.known(measure)
        values = angles.of(measure)
        is_worse = values <= cut if printed["side"] == "at_most" else values < cut
        for side, of_side in (("more", is_worse), ("others", ~is_worse)):
            chosen = is_known & of_side
            rate = event_rate(
                angles.counts[chosen],
                angles.years[chosen],
                follow_up.patients[chosen],
            )
            yield {
                "key": printed["key"],
                "side": side,
                "count_dentures": int(np.count_nonzero(chosen)),
                **rate_figures(rate),
            }

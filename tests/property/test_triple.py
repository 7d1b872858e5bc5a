"""The impossible triple is never said of figures that a real implant can have."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.tables import add_macros
from pipeline.warehouse import Warehouse
from tests.integration.staged_tables import GivenRecords

TRIES = 20_000
"""As many random positions as the relation was first tried on."""


def placements(seed: int, length_change_mm: float = 0.0) -> pd.DataFrame:
    """Any two positions of one axis: the figures worked out from points in space."""
    draws = np.random.default_rng(seed)
    length = draws.uniform(6, 18, TRIES)
    planned, achieved = (draws.normal(size=(TRIES, 3)) for _ in range(2))
    # half of them near each other, as guided placement is, half anywhere
    near = np.arange(TRIES) % 2 == 0
    achieved[near] = planned[near] + 0.05 * achieved[near]
    planned /= np.linalg.norm(planned, axis=1)[:, None]
    achieved /= np.linalg.norm(achieved, axis=1)[:, None]
    entry = draws.normal(scale=draws.uniform(0, 3, (TRIES, 1)), size=(TRIES, 3))
    apex = entry + (length + length_change_mm)[:, None] * achieved
    apex -= length[:, None] * planned
    cosine = np.clip(np.sum(planned * achieved, axis=1), -1, 1)
    return pd.DataFrame(
        {
            "entry": np.linalg.norm(entry, axis=1),
            "apex": np.linalg.norm(apex, axis=1),
            "angle": np.degrees(np.arccos(cosine)),
            "length": length,
        }
    )


@pytest.fixture(scope="module")
def macros():
    with Warehouse() as warehouse:
        warehouse.run("create schema reference")
        warehouse.run("create table reference.said_missing (word varchar)")
        add_macros(warehouse)
        yield warehouse


def off(warehouse: Warehouse, frame: pd.DataFrame) -> np.ndarray:
    with warehouse.registered("placements", frame):
        found = warehouse.frame(
            "select triple_off_mm(entry, apex, angle, length) as off from placements"
        )
    return found["off"].to_numpy()


def test_no_two_positions_of_one_axis_are_impossible(macros):
    assert off(macros, placements(1)).max() <= 1e-6


@pytest.mark.parametrize("change_mm", [-4.0, -0.5, 0.5, 4.0])
def test_another_length_placed_is_off_by_no_more_than_its_difference(macros, change_mm):
    """The length taken is the planned one, which is what a sheet holds."""
    assert off(macros, placements(2, change_mm)).max() <= abs(change_mm) + 1e-6


def test_what_is_beyond_the_triangle_is_said_to_the_millimetre(macros):
    true = placements(3)
    moved = 2 * true["length"] * np.sin(np.radians(true["angle"]) / 2)
    beyond = true.assign(apex=true["entry"] + moved + 0.7)
    assert off(macros, beyond) == pytest.approx(0.7)
    too_small = true.assign(entry=moved / 2 - 0.4, apex=moved / 2)
    shown = moved / 2 > 0.4
    assert off(macros, too_small)[shown] == pytest.approx(0.4)


@pytest.mark.parametrize("digits", [1, 2])
def test_rounded_figures_of_real_placements_are_never_held(digits):
    """Lengths to a tenth or a hundredth, angles to a tenth: as sheets are written."""
    given = GivenRecords()
    true = placements(4).iloc[::2].iloc[:150]
    for number, row in enumerate(true.itertuples()):
        given.add(
            "deviations",
            f"{digits}.csv",
            case_id=f"{number}",
            side="left",
            entry_3d_mm=round(row.entry, digits),
            apex_3d_mm=round(row.apex, digits),
            angle_deg=round(row.angle, 1),
            planned_length_mm=round(row.length, 1),
        )
    given.checked()
    assert given.findings("case_key", check_id="deviations-impossible-triple") == []

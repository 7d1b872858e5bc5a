"""Draw the invented clinic: plans, achieved positions, readings and follow-up.

Everything is drawn for all cases at once, so that the same code makes the 48 cases of
the demo and half a million for a benchmark. The 48 slots of allotment.csv repeat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from synthetic_data import allotment, follow_up, modes
from synthetic_data.allotment import Columns
from synthetic_data.modes import LEFT, RIGHT, Array
from synthetic_data.truths import DEFAULT, MODES, OTHER_MODES, RIGID_MODES, Truths

SEED = 20260869
FIRST_DAY = np.datetime64("2023-01-09")
LAST_DAY = np.datetime64("2025-12-12")
FIRST_CASE = 101
ARCH_RADIUS_MM = 22.0
PLAN_SCATTER_MM = 0.3
SIDES = np.array(["left", "right"])
TEETH = {8: ("32", "42"), 11: ("33", "43")}


@dataclass(frozen=True, slots=True)
class Positions:
    """Planned and achieved positions before any reading, left implant first.

    Attributes:
        planned: planned entries and apices, mm, each (cases, 2, 3).
        middle: achieved middle of each axis, mm, (cases, 2, 3), at the planned length.
        leans: achieved frontal and sagittal lean, radians, (cases, 2, 2).
        shared: the pair modes planted on each case, (cases, 10), mm and radians.
        placed_length: length of the implant placed, mm, (cases, 2); nan: not placed.
    """

    planned: tuple[Array, Array]
    middle: Array
    leans: Array
    shared: Array
    placed_length: Array


def make_clinic(
    n_cases: int = allotment.COUNT_OPERATED,
    seed: int = SEED,
    truths: Truths = DEFAULT,
    *,
    count_readings: int = 1,
    is_operated: bool = True,
    with_incidents: bool = False,
    with_follow_up: bool = True,
) -> dict[str, Columns]:
    """Draw a clinic.

    Args:
        n_cases: number of cases; the slots of allotment.csv repeat.
        seed: the same seed gives the same clinic.
        truths: what is planted.
        count_readings: readings of every achieved position.
        is_operated: take the operated slots, or those that are still planned.
        with_incidents: also plant the single incidents (harm, guide abandoned, change
            on purpose, not placed, shorter implant); without them the truths hold
            exactly for every case.
        with_follow_up: also draw dentures and events.

    Returns:
        Tables as columns of equal length: ``cases`` (one row a case), ``implants``
        (one a planned implant, left then right: plan and true achieved points),
        ``readings`` (one an implant and reading), ``dentures`` and ``events``.
        Lengths in mm; angles in degrees.
    """
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(4)]
    cases = _cases(n_cases, truths, streams[0], is_operated=is_operated)
    positions = draw_positions(cases, truths, streams[1], with_incidents=with_incidents)
    for number, mode in enumerate(MODES):
        unit, value = _shown(mode, positions.shared[:, number])
        cases[f"shared_{mode}_{unit}"] = value
    tables = {
        "cases": cases,
        "implants": _implants(cases, positions),
        "readings": _readings(cases, positions, truths, streams[2], count_readings),
    }
    if with_follow_up:
        tables |= follow_up.draw(cases, truths, streams[3])
    return tables


def draw_positions(
    cases: Columns,
    truths: Truths,
    rng: np.random.Generator,
    *,
    with_incidents: bool = False,
) -> Positions:
    """Draw plans and achieved positions.

    Args:
        cases: columns of the cases, as :func:`allotment.tiled` gives them.
        truths: what is planted.
        rng: source of the draws.
        with_incidents: also plant the single incidents.
    """
    planned = _plan(cases, truths, rng)
    middle, leans = modes.middles_and_leans(*planned)
    length = cases["planned_length_mm"].astype(float)
    spacing = np.linalg.norm(planned[0][:, LEFT] - planned[0][:, RIGHT], axis=-1)
    shared = _shared_modes(cases, truths, rng)
    place, lean = modes.from_modes(shared, length, spacing)
    own_place, own_lean = _own_scatter(
        cases, truths, rng, with_incidents=with_incidents
    )
    place, lean = place + own_place, lean + own_lean
    placed_length = np.repeat(length[:, None], 2, axis=1)
    if with_incidents:
        incident = cases["incident"]
        deeper = incident == "deeper_with_altered_sensation"
        place[deeper, LEFT, 2] = -truths.deeper_by_mm
        place[incident == "deliberate_change", RIGHT, 0] += truths.deliberate_mm
        placed_length[incident == "not_placed", RIGHT] = np.nan
        placed_length[incident == "shorter_implant", LEFT] -= 2
    return Positions(planned, middle + place, leans + lean, shared, placed_length)


def point_columns(prefix: str, entry: Array, apex: Array) -> Columns:
    """Return entries and apices (.., 3) as six flat columns named after the prefix."""
    return {
        f"{prefix}_{name}_{axis}_mm": point[..., number].reshape(-1)
        for name, point in (("entry", entry), ("apex", apex))
        for number, axis in enumerate("xyz")
    }


def points_of(table: Columns, prefix: str) -> tuple[Array, Array]:
    """Return the entries and apices of a table in pairs, each (cases, 2, 3)."""
    entry, apex = (
        np.stack(
            [table[f"{prefix}_{name}_{axis}_mm"] for axis in "xyz"], axis=-1
        ).reshape(-1, 2, 3)
        for name in ("entry", "apex")
    )
    return entry.astype(float), apex.astype(float)


def _cases(
    n_cases: int, truths: Truths, rng: np.random.Generator, *, is_operated: bool
) -> Columns:
    cases = allotment.tiled(n_cases, is_operated=is_operated)
    number = np.arange(n_cases) + FIRST_CASE
    if not is_operated:
        number += allotment.COUNT_OPERATED
    cases["case_id"] = np.char.add("K", number.astype(str))
    step = (LAST_DAY - FIRST_DAY).astype(int) / allotment.COUNT_OPERATED
    day = (cases["slot"] - 1 + rng.uniform(0.1, 0.9, n_cases)) * step
    surgery = FIRST_DAY + day.astype(np.int64).astype("timedelta64[D]")
    cases["surgery_day"] = np.busday_offset(surgery, 0, roll="forward")
    own = np.zeros(n_cases, dtype=np.int64)
    operator = truths.learning.operator
    for_block = allotment.own_case_numbers(cases["operator"], operator)
    per_block = int((cases["operator"][cases["block"] == 0] == operator).sum())
    is_own = for_block > 0
    own[is_own] = for_block[is_own] - cases["block"][is_own] * per_block
    cases["own_case_number"] = own
    cases["learning_factor"] = np.where(is_own, truths.learning.factor(own), 1.0)
    return cases


def _plan(
    cases: Columns, truths: Truths, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Return planned points to a hundredth of a millimetre, as a plan is written."""
    half = cases["half_spacing_mm"].astype(float)
    back = ARCH_RADIUS_MM - np.sqrt(ARCH_RADIUS_MM**2 - half**2)
    entry = np.stack([half, back, np.zeros_like(half)], axis=-1)[:, None, :]
    entry = entry * np.array([[1, 1, 1], [-1, 1, 1]])
    is_computer_plan = (cases["guidance"] == "full")[:, None, None]
    scatter = rng.uniform(-PLAN_SCATTER_MM, PLAN_SCATTER_MM, entry.shape)
    limit = np.radians(truths.planned_lean_limit_deg)
    leans = rng.uniform(-limit, limit, (*entry.shape[:2], 2))
    entry = entry + np.where(is_computer_plan, scatter, 0.0)
    leans = np.where(is_computer_plan, leans, 0.0)
    length = np.repeat(cases["planned_length_mm"].astype(float)[:, None], 2, axis=1)
    top, bottom = modes.points(np.zeros_like(entry), leans, length)
    return np.round(entry, 2), np.round(entry + bottom - top, 2)


def _per_class(cases: Columns, truths: Truths, name: str) -> Array:
    """Return one truth of each case's class of guidance, (cases, ..)."""
    names = [truth.guidance for truth in truths.guidance]
    values = np.array([getattr(truth, name) for truth in truths.guidance], dtype=float)
    order = np.argsort(names)
    found = np.searchsorted(np.array(names)[order], cases["guidance"])
    return values[order][found]


def _shared_modes(cases: Columns, truths: Truths, rng: np.random.Generator) -> Array:
    """Draw what both implants of a case have in common, and the guide as made."""
    shared = np.zeros((len(cases["slot"]), len(MODES)))
    sds = np.concatenate(
        [
            _per_class(cases, truths, "common_shift_sd_mm"),
            np.radians(_per_class(cases, truths, "common_turn_sd_deg")),
        ],
        axis=1,
    )
    shared[:, : len(RIGID_MODES)] = sds * rng.standard_normal(sds.shape)
    shared[:, :3] += _per_class(cases, truths, "shift_mm")
    lab_sd = np.radians(_per_class(cases, truths, "lab_pair_sd_deg"))
    lab = lab_sd[:, None] * rng.standard_normal((len(shared), 2))
    bias = np.radians(
        [truths.batch.frontal_convergence_deg, truths.batch.sagittal_difference_deg]
    )
    lab += cases["is_bad_batch"][:, None] * bias
    at = MODES.index("frontal_convergence")
    shared[:, at : at + 2] = lab
    return shared


def _own_scatter(
    cases: Columns, truths: Truths, rng: np.random.Generator, *, with_incidents: bool
) -> tuple[Array, Array]:
    n_cases = len(cases["slot"])
    factor = cases["learning_factor"].astype(float)
    if with_incidents:
        abandoned = cases["incident"] == "guide_abandoned"
        factor = factor * np.where(abandoned, truths.abandoned_factor, 1.0)
    place_sd = _per_class(cases, truths, "own_place_sd_mm") * factor[:, None]
    lean_sd = np.radians(_per_class(cases, truths, "own_lean_sd_deg") * factor[:, None])
    place = place_sd[:, None, :] * rng.standard_normal((n_cases, 2, 3))
    lean = lean_sd[:, None, :] * rng.standard_normal((n_cases, 2, 2))
    # The drill turns about the entry it has found, so the middle of the axis follows.
    half_length = 0.5 * cases["planned_length_mm"].astype(float)
    place[..., :2] -= half_length[:, None, None] * lean
    return place, lean


def _lengths_shown(placed_length: Array, planned_length: Array) -> Array:
    return np.where(np.isnan(placed_length), np.nan, planned_length[:, None])


def _implants(cases: Columns, positions: Positions) -> Columns:
    planned_length = cases["planned_length_mm"].astype(float)
    shown = _lengths_shown(positions.placed_length, planned_length)
    true = modes.points(positions.middle, positions.leans, shown)
    half = cases["half_spacing_mm"]
    teeth = np.where(half[:, None] == 8, np.array(TEETH[8]), np.array(TEETH[11]))
    return {
        "case_id": np.repeat(cases["case_id"], 2),
        "side": np.tile(SIDES, len(half)),
        "tooth": teeth.reshape(-1),
        "planned_length_mm": np.repeat(planned_length, 2),
        "placed_length_mm": positions.placed_length.reshape(-1),
        "is_placed": ~np.isnan(positions.placed_length).reshape(-1),
        **point_columns("planned", *positions.planned),
        **point_columns("true", *true),
    }


def _readings(
    cases: Columns,
    positions: Positions,
    truths: Truths,
    rng: np.random.Generator,
    count_readings: int,
) -> Columns:
    """Read every achieved position, to a hundredth of a millimetre."""
    sources = [truth.source for truth in truths.readings]
    sds = np.array(
        [(t.reading_place_sd_mm, t.reading_lean_sd_deg) for t in truths.readings]
    )
    order = np.argsort(sources)
    found = np.searchsorted(np.array(sources)[order], cases["achieved_source"])
    place_sd, lean_sd = sds[order][found].T
    shape = (len(place_sd), 2, count_readings)
    middle = positions.middle[:, :, None, :] + place_sd[
        :, None, None, None
    ] * rng.standard_normal((*shape, 3))
    leans = positions.leans[:, :, None, :] + np.radians(lean_sd)[
        :, None, None, None
    ] * rng.standard_normal((*shape, 2))
    planned_length = cases["planned_length_mm"].astype(float)
    length = np.broadcast_to(planned_length[:, None, None], shape)
    entry, apex = modes.points(middle, leans, length)
    placed: NDArray[np.float64] = positions.placed_length[:, :, None, None]
    apex = entry + (apex - entry) * placed / planned_length[:, None, None, None]
    entry = np.where(np.isnan(placed), np.nan, entry)
    return {
        "case_id": np.repeat(cases["case_id"], 2 * count_readings),
        "side": np.tile(np.repeat(SIDES, count_readings), shape[0]),
        "reading": np.tile(np.arange(count_readings) + 1, 2 * shape[0]),
        **point_columns("achieved", np.round(entry, 2), np.round(apex, 2)),
    }


def _shown(mode: str, value: Array) -> tuple[str, Array]:
    is_length = mode in RIGID_MODES[:3] or mode == OTHER_MODES[0]
    return ("mm", value) if is_length else ("deg", np.degrees(value))

"""checked.registrations: every scan superimposed on its plan, all of them at once.

Computed for every readable scan, held or not, because some checks need it. What a scan's
coordinates become in the plan's is said by a rotation and a shift; how far the implants
may be off by it, by the error of the matching points, pooled over the scans of a source.
A scan without any matching point is moved by the registration object of its case, where
there is one; how far that may be off is not known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pipeline.checked.checks import by_id
from pipeline.checked.jaws import axes_of_cases
from pipeline.checked.matching import (
    XYZ,
    Implants,
    Numbers,
    Points,
    read_implants,
    read_motions,
    read_points,
)
from pipeline.checked.promised import make_promised
from pipeline.geometry.propagation import (
    MODES,
    MotionError,
    axis_sd_deg,
    mode_variances,
    motion_error,
    pooled_fle,
    tre_mm,
)
from pipeline.geometry.registration import (
    Flags,
    Floats,
    Registration,
    leave_one_out,
    register,
)
from pipeline.reference import load
from pipeline.tables import makes
from pipeline.warehouse import Warehouse

AXIS_UNCERTAIN: Final = "axis_uncertain"
ENTRY_UNCERTAIN: Final = "entry_uncertain"
POOLED: Final = "pooled"
PUBLISHED: Final = "published"
MISFIT_CHECK: Final = "scan-misfit"

Columns = dict[str, Any]


@makes(
    "checked.registrations",
    "checked.superimposed_rows",
    reads=(
        "checked.scans",
        "checked.matching_points",
        "checked.file_motions",
        "checked.jaw_frames",
        "staged.implants",
    ),
)
def make_registrations(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Superimpose every scan; grain case_key, scan, and row_id for the implants' rows.

    Args:
        warehouse: the audit.
        parameters: hold ``largest_entry_error_mm`` and ``largest_axis_error_deg``.
    """
    scans = warehouse.frame("select * from checked.scans order by scan_no")
    points, implants = read_points(warehouse, len(scans)), read_implants(warehouse)
    of_points = register(points.plan, points.scan, points.weights, points.mask)
    found: Columns = {name: scans[name] for name in scans.columns}
    found |= _fit_columns(points, of_points)
    found |= _localisation_error(scans["achieved_source"].to_numpy(str), of_points)
    fit, found["is_from_file"] = _with_files(warehouse, of_points)
    found |= _motion_columns(fit)
    error = _motion_error(points, found["fle_mm"])
    rows = _row_errors(fit, error, implants)
    for name in ("tre_entry_mm", "axis_sd_deg"):
        found[name] = _largest(rows[name], implants.scan_no, len(scans))
    jaw_axes = axes_of_cases(warehouse, scans["case_key"])
    found |= _mode_columns(fit, error, implants, jaw_axes)
    found |= _landing_columns(fit, implants)
    found["refusal"] = _refusals(fit, found, parameters)
    make_promised(warehouse, "checked.registrations", found)
    make_promised(warehouse, "checked.superimposed_rows", rows)


def _fit_columns(points: Points, fit: Registration) -> Columns:
    """Return what the points leave over, and the one that agrees least."""
    left_out = leave_one_out(points.plan, points.scan, points.weights, points.mask)
    worst = left_out.worst()
    there = np.arange(len(worst))
    is_told = worst >= 0
    return {
        "landmarks_used": fit.count_points,
        "second_spread_mm": np.where(
            fit.refusal == "too_few", np.nan, fit.second_spread_mm
        ),
        "fre_mm": np.where(fit.is_refused, np.nan, fit.fre_mm),
        "mirrored_fre_mm": np.where(fit.is_refused, np.nan, fit.mirrored_fre_mm),
        "worst_label": np.where(is_told, points.labels[there, worst], ""),
        "leave_one_out_mm": np.where(
            is_told, left_out.distance_mm[there, worst], np.nan
        ),
    }


def _with_files(warehouse: Warehouse, fit: Registration) -> tuple[Registration, Flags]:
    """Put the motions of registration objects where no point is; tell where that is."""
    motions = read_motions(warehouse)
    is_from_file = np.zeros(len(fit.refusal), bool)
    is_from_file[motions.scan_no] = fit.count_points[motions.scan_no] == 0
    rotation, translation = fit.rotation.copy(), fit.translation.copy()
    rotation[motions.scan_no] = motions.rotation
    translation[motions.scan_no] = motions.shift
    moved = replace(
        fit,
        rotation=np.where(is_from_file[:, None, None], rotation, fit.rotation),
        translation=np.where(is_from_file[:, None], translation, fit.translation),
        refusal=np.where(is_from_file, "", fit.refusal),
    )
    return moved, is_from_file


def _motion_columns(fit: Registration) -> Columns:
    """Return the motion from the scan to the plan."""
    columns: Columns = {}
    for i, x in enumerate(XYZ):
        columns |= {
            f"rotation_{x}{y}": fit.rotation[:, i, j] for j, y in enumerate(XYZ)
        }
        columns[f"shift_{x}_mm"] = fit.translation[:, i]
    return columns


def _localisation_error(sources: NDArray[np.str_], fit: Registration) -> Columns:
    """Return the error of one matching point by scan: pooled, or the published default.

    Scans whose points do not fit (a blunder, a mirror image) stay out of the pool.
    """
    largest_misfit = float(by_id()[MISFIT_CHECK].high)
    is_sound = ~fit.is_refused & (
        np.nan_to_num(fit.fre_mm, nan=np.inf) <= largest_misfit
    )
    names, groups = np.unique(sources, return_inverse=True)
    pool = pooled_fle(
        fit.weighted_ss_mm2[is_sound],
        fit.count_points[is_sound],
        groups[is_sound],
        len(names),
    )
    published = {
        row["achieved_source"]: float(row["fle_mm"])
        for row in load.rows("landmark_errors")
    }
    default = np.array([published[name] for name in names])
    of_source = np.where(pool.is_enough, pool.fle_mm, default)
    basis = np.where(pool.is_enough, POOLED, PUBLISHED)
    return {"fle_mm": of_source[groups], "fle_basis": basis[groups]}


def _motion_error(points: Points, fle_mm: Floats) -> MotionError:
    """Carry the error over; a point read oftener than once errs less by its weight."""
    one_reading = fle_mm[:, None] ** 2 / 3
    variances = one_reading / np.where(points.mask, points.weights, 1.0)
    return motion_error(points.plan, variances, points.weights, points.mask)


def _row_errors(fit: Registration, error: MotionError, implants: Implants) -> Columns:
    """Return the expected error of each implant row; NaN where not superimposed."""
    of_row = MotionError(
        error.covariance[implants.scan_no], error.centre[implants.scan_no]
    )
    ends = _moved(fit, implants)
    tre = tre_mm(of_row, ends)
    axis = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(axis, axis=1, keepdims=True)
    axis = axis / np.where(length > 0, length, np.nan)
    return {
        "row_id": implants.row_id,
        "tre_entry_mm": tre[:, 0],
        "tre_apex_mm": tre[:, 1],
        "axis_sd_deg": axis_sd_deg(of_row, axis[:, None])[:, 0],
    }


def _moved(fit: Registration, implants: Implants, *, back: bool = False) -> Floats:
    """Return achieved entry and apex in the plan's coordinates, or moved the other way."""
    rotation, shift = fit.rotation[implants.scan_no], fit.translation[implants.scan_no]
    if back:
        moved: Floats = (implants.achieved - shift[:, None, :]) @ rotation
        return moved
    turned: Floats = implants.achieved @ rotation.transpose(0, 2, 1)
    return turned + shift[:, None, :]


def _mode_columns(
    fit: Registration, error: MotionError, implants: Implants, jaw_axes: Floats
) -> Columns:
    """Return the sd that the superimposition gives to the six rigid numbers of a pair.

    At the middle of the scan's implants, where they landed.
    """
    count = len(error.centre)
    middles = _moved(fit, implants).mean(axis=1)
    how_many = np.bincount(implants.scan_no, minlength=count)
    summed = np.zeros((count, 3))
    np.add.at(summed, implants.scan_no, middles)
    centre = summed / np.where(how_many > 0, how_many, np.nan)[:, None]
    variances = mode_variances(error, centre, jaw_axes)
    columns: Columns = {}
    for name in MODES[:6]:
        sd = np.sqrt(np.where(how_many > 0, variances[name], np.nan))
        is_shift = name.startswith("shift")
        columns[f"{name}_sd_{'mm' if is_shift else 'deg'}"] = (
            sd if is_shift else np.degrees(sd)
        )
    return columns


def _landing_columns(fit: Registration, implants: Implants) -> Columns:
    """Return where the implants land: off their plan, as moved and as moved back."""
    count = len(fit.refusal)
    columns: Columns = {}
    for name, back in (("landing_mm", False), ("inverse_landing_mm", True)):
        entries = _moved(fit, implants, back=back)[:, 0]
        off = np.linalg.norm(entries - implants.planned[:, 0], axis=1)
        columns[name] = _largest(off, implants.scan_no, count)
    ends = _moved(fit, implants)
    achieved, planned = (p[:, 1] - p[:, 0] for p in (ends, implants.planned))
    turn = np.arctan2(
        np.linalg.norm(np.cross(planned, achieved), axis=1),
        np.einsum("ki,ki->k", planned, achieved),
    )
    columns["landing_turn_deg"] = _largest(np.degrees(turn), implants.scan_no, count)
    return columns


def _largest(values: Floats, scan_no: Numbers, count: int) -> Floats:
    """Return the largest value of each scan; NaN where it has none."""
    is_told = ~np.isnan(values)
    largest = np.full(count, -np.inf)
    np.maximum.at(largest, scan_no[is_told], values[is_told])
    return np.where(np.isfinite(largest), largest, np.nan)


def _refusals(
    fit: Registration, found: Columns, parameters: Mapping[str, Any]
) -> NDArray[np.str_]:
    """Return why a scan is not superimposed; empty where it is."""
    conditions = [
        fit.is_refused,
        found["axis_sd_deg"] > parameters["largest_axis_error_deg"],
        found["tre_entry_mm"] > parameters["largest_entry_error_mm"],
    ]
    words = [fit.refusal, np.array(AXIS_UNCERTAIN), np.array(ENTRY_UNCERTAIN)]
    return np.select(conditions, words, default=np.str_(""))

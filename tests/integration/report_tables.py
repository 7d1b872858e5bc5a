"""Invented audits for the tests of the reports: every table they read, to the column.

Nothing here is measured: the figures are drawn from a seeded generator and summed up
with plain means, so that a page has something to show. Table layouts come from
columns.csv, so a column that is renamed there fails here first.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from pipeline.reference import load
from pipeline.reported.wording import measures
from pipeline.statistics.pooling import METHODS
from pipeline.summarised.literature import matches_of, pooled_of
from pipeline.warehouse import Warehouse
from tests.integration.report_follow_up import follow_up

RUN_AT = datetime(2026, 3, 12, 7, 30, tzinfo=UTC)
WRITTEN_AT = datetime(2026, 3, 12, 8, 0, tzinfo=UTC)

Row = dict[str, Any]


def code(n: int) -> str:
    """Return a 12-character code such as loading makes."""
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ234567"
    digest = hashlib.sha256(f"case {n}".encode()).digest()
    return "".join(letters[byte % len(letters)] for byte in digest[:12])


def fill(warehouse: Warehouse, tables: dict[str, list[Row]]) -> None:
    """Make every table of columns.csv, empty where no rows are given."""
    for schema in ("staged", "checked", "measured", "summarised", "reference", "audit"):
        warehouse.run(f"create schema if not exists {schema}")
    columns: dict[str, list[tuple[str, str]]] = {}
    for row in load.rows("columns"):
        columns.setdefault(row["table"], []).append((row["column"], row["type"]))
    for table, layout in columns.items():
        listed = ", ".join(f'"{name}" {kind}' for name, kind in layout)
        warehouse.run(f"create table {table} ({listed})")
        _insert(warehouse, table, tables.get(table, []), [name for name, _ in layout])
    for name in ("published_accuracy", "comparison_sets", "comparison_members"):
        rows = [dict(row) for row in load.rows(name)]
        warehouse.make_from_frame(f"reference.{name}", pd.DataFrame(rows))
    if "reference.actions" in tables:
        frame = pd.DataFrame(
            tables["reference.actions"],
            columns=["action", "role", "due_date", "done_date"],
        )
        cast = ", ".join(f"{name}::varchar as {name}" for name in frame.columns)
        warehouse.make_from_frame("reference.actions", frame, cast)


def _insert(
    warehouse: Warehouse, table: str, rows: list[Row], names: list[str]
) -> None:
    if not rows:
        return
    unknown = {name for row in rows for name in row} - set(names)
    assert not unknown, f"{table} has no {unknown}"
    frame = pd.DataFrame(rows, columns=names, dtype=object)
    with warehouse.registered("rows_given", frame):
        warehouse.run(f"insert into {table} select * from rows_given")


def _run(**changes: Any) -> list[Row]:
    return [
        {
            "run_id": "7f3a9c21d4e8b605",
            "version": "0.1.0",
            "run_at": RUN_AT.replace(tzinfo=None),
            "cycle": "all cases",
            "state": "summarised",
            **changes,
        }
    ]


def empty() -> dict[str, list[Row]]:
    """Return an audit into which nothing has been loaded."""
    return {"audit.run": _run()}


def clinic(
    n_cases: int = 40, *, seed: int = 5, has_harm: bool = True, **run: Any
) -> dict[str, list[Row]]:
    """Return an audit of a clinic of that many cases.

    Two thirds go through guides made in a laboratory, the rest through printed ones;
    the last cases are planned and not operated yet.
    """
    draw = np.random.default_rng(seed)
    cases = [_case(n, n_cases) for n in range(n_cases)]
    placed = [case for case in cases if case["surgery_date"]]
    implants = [
        _implant(draw, case, side, at)
        for at, case in enumerate(placed)
        for side in ("left", "right")
    ]
    pairs = [_pair(draw, case) for case in placed]
    tables: dict[str, list[Row]] = {
        "audit.run": _run(**run),
        "measured.cases": cases,
        "measured.implants": implants,
        "measured.pairs": pairs,
        "summarised.accuracy": _accuracy(cases, implants, pairs),
        "summarised.criteria": _criteria(implants, pairs),
        "summarised.verdicts": _verdicts(cases, implants, pairs),
        "summarised.completeness": _completeness(cases),
        "summarised.discuss": _discuss(implants, pairs),
        "reference.actions": _actions(),
        **_checked(cases),
        **follow_up(cases),
    }
    tables |= _records(tables)
    tables |= _literature(tables["summarised.verdicts"])
    if has_harm:
        tables["summarised.harm"] = _harm(placed)
    return tables


def crowded() -> dict[str, list[Row]]:
    """Return an audit that holds more of everything than two printed sides can."""
    tables = clinic(60, cycle="The second cycle of the clinic by the river", cycle_from=date(2024, 1, 1), cycle_to=date(2027, 1, 1))  # fmt: skip
    placed = [case for case in tables["measured.cases"] if case["surgery_date"]]
    long = "a long sentence that somebody typed in full because there was room for it in the file, "
    tables["summarised.harm"] = [
        {
            **row,
            "side": "right",
            "kind": kind,
            "amount_mm": 2.6,
            "case_key": case["case_key"],
        }
        for row in _harm(placed)[:1]
        for kind in ("altered_sensation", "implant_lost", "deeper_than_margin")
        for case in placed[:10]
    ]
    tables["summarised.criteria"] = [
        {**row, "criterion": f"{row['criterion']} {at}: {long}", "is_example": at > 8}
        for at in range(4)
        for row in tables["summarised.criteria"]
    ]
    tables["summarised.discuss"] = [
        {**row, "case_key": case["case_key"], "is_deliberate_change": at > 40}
        for at, case in enumerate(placed)
        for row in tables["summarised.discuss"][:4]
    ]
    tables["summarised.verdicts"] = [
        {
            **row,
            "is_provisional": True,
            "verdict": "better",
            "sentence": f"Better: {long * 2}",
        }
        for _ in range(2)
        for row in tables["summarised.verdicts"]
    ]
    tables["reference.actions"] = [
        {**row, "action": long * 2, "role": long} for row in _actions() * 5
    ]
    tables["checked.held"] = [
        {
            "row_id": at,
            "sheet": "implants",
            "case_key": case["case_key"],
            "check_ids": checks,
        }
        for at, case in enumerate(placed)
        for checks in [list(_LONG_REASONS)]
    ]
    tables["checked.findings"] += [
        _finding(check, "warn", 500 + at, placed[0]["case_key"])
        for at, check in enumerate(_LONG_NOTES)
    ]
    tables["staged.completeness"] += [
        {**row, "field": field}
        for row in tables["staged.completeness"][:1]
        for field in ("guide_method", "guidance", "achieved_source", "tooth")
    ]
    return tables


_LONG_REASONS = (
    "pair-planned-sides",
    "pair-achieved-sides",
    "implants-planned-length",
    "pair-readings-angle",
    "implants-achieved-length",
    "deviations-parts",
)
_LONG_NOTES = (
    "case-two-teeth-on-a-side",
    "cases-case-unknown",
    "deviations-depth-unsigned",
)


def _case(n: int, n_cases: int) -> Row:
    is_operated = n < n_cases - max(1, n_cases // 12)
    day = date(2024, 2, 5) + timedelta(days=int(n * 700 / n_cases))
    is_printed = n % 3 == 0
    return {
        "case_key": code(n),
        "patient_key": code(n),
        "jaw": "lower",
        "setting": "patient",
        "status": "delivered"
        if is_operated and n < 0.8 * n_cases
        else "placed"
        if is_operated
        else "planned",
        "surgery_date": day if is_operated else None,
        "delivery_date": day + timedelta(days=90) if n < 0.8 * n_cases else None,
        "operator_code": f"OPERATOR{n % 4}",
        "operator_level": ("resident", "specialist", "not known")[n % 3],
        "guide_code": f"GUIDE{n}",
        "guide_lab_code": f"LAB{n % 2}",
        "guide_method": "printed" if is_printed else "surveyor",
        "guide_support": "mucosa",
        "guidance": "full" if is_printed else "pilot",
        "attachment": "stud",
        "is_taken_over": False,
        "is_in_cases_sheet": True,
        "has_plan": n % 11 != 5,
        "has_achieved": is_operated and n % 13 != 7,
        "count_visits": 2,
        "count_held_rows": 0,
    }


def _source(case: Row) -> str:
    return "scan_body" if case["guide_method"] == "printed" else "cbct"


def _implant(draw: np.random.Generator, case: Row, side: str, at: int) -> Row:
    wide = 1.0 if case["guide_method"] == "printed" else 1.55
    shift = draw.normal([0.25, 0.35, 0.2], 0.62, 3) * wide
    leans = draw.normal([0.8, 1.2], 2.1, 2) * wide
    lateral = float(np.hypot(*shift[:2]))
    entry = float(np.linalg.norm(shift))
    return {
        "case_key": case["case_key"],
        "patient_key": case["patient_key"],
        "implant_key": side,
        "side": side,
        "tooth": {"left": "33", "right": "43"}[side],
        "basis": "coordinates",
        "achieved_source": _source(case),
        "part": "pair",
        "is_preferred": True,
        "count_readings": 1,
        "entry_3d_mm": entry,
        "entry_lateral_mm": lateral,
        "depth_mm": float(shift[2]),
        "depth_size_mm": abs(float(shift[2])),
        "apex_3d_mm": entry * 1.3,
        "apex_lateral_mm": lateral * 1.4,
        "apex_depth_mm": float(shift[2]),
        "angle_deg": float(np.hypot(*leans)),
        "mesial_mm": float(shift[0]),
        "facial_mm": float(shift[1]),
        "up_mm": -float(shift[2]),
        "frontal_tilt_change_deg": float(leans[0]),
        "sagittal_tilt_change_deg": float(leans[1]),
        "is_length_substituted": False,
        "is_deliberate_change": at % 17 == 9 and side == "left",
        "guide_used": "as_planned",
        "jaw_frame_basis": "occlusal_plane",
    }


def _pair(draw: np.random.Generator, case: Row) -> Row:
    wide = 1.0 if case["guide_method"] == "printed" else 1.5
    planned = draw.normal(0, [1.2, 1.2], 2)
    change = draw.normal([1.0, 0.2], 2.9, 2) * wide
    achieved = planned + change
    return {
        "case_key": case["case_key"],
        "patient_key": case["patient_key"],
        "basis": "coordinates",
        "achieved_source": _source(case),
        "is_preferred": True,
        "planned_angle_deg": float(np.hypot(*planned)),
        "achieved_angle_deg": float(np.hypot(*achieved)),
        "angle_change_deg": float(np.hypot(*achieved) - np.hypot(*planned)),
        "pair_rotation_deg": float(np.hypot(*change)),
        "planned_frontal_convergence_deg": float(planned[0]),
        "achieved_frontal_convergence_deg": float(achieved[0]),
        "frontal_convergence_change_deg": float(change[0]),
        "planned_sagittal_difference_deg": float(planned[1]),
        "achieved_sagittal_difference_deg": float(achieved[1]),
        "sagittal_difference_change_deg": float(change[1]),
        "spacing_change_mm": float(draw.normal(0, 0.5)),
        "planned_spacing_mm": 22.0,
        "achieved_spacing_mm": 22.1,
        "count_readings": 1,
    }


def _accuracy(cases: list[Row], implants: list[Row], pairs: list[Row]) -> list[Row]:
    method = {case["case_key"]: case["guide_method"] for case in cases}
    found = []
    for name, known in measures().items():
        rows = implants if known.place == "implants" else pairs
        for source in sorted({row["achieved_source"] for row in rows}):
            of_source = [row for row in rows if row["achieved_source"] == source]
            found.append(_summed(name, of_source, "overall", "all", source))
            for group in sorted({method[row["case_key"]] for row in of_source}):
                of_group = [
                    row for row in of_source if method[row["case_key"]] == group
                ]
                found.append(_summed(name, of_group, "guide_method", group, source))
    return found


def _summed(name: str, rows: list[Row], group_by: str, group: str, source: str) -> Row:
    values = np.array([row[name] for row in rows])
    n_patients = len({row["patient_key"] for row in rows})
    n = len(values)
    reach = 2.2 * float(values.std()) / np.sqrt(n_patients) + 0.01
    middle = float(np.median(values))
    is_enough = n_patients >= 5
    return {
        "measure": name,
        "unit": measures()[name].unit,
        "group_by": group_by,
        "group_value": group,
        "sources": f"coordinates, {source}",
        "n_cases": n_patients,
        "n_patients": n_patients,
        "n_implants": n,
        "mean": float(values.mean()),
        "sd": float(values.std(ddof=1)) if n > 1 else None,
        "mean_low": float(values.mean()) - reach if is_enough else None,
        "mean_high": float(values.mean()) + reach if is_enough else None,
        "median": middle,
        "median_low": middle - 1.2 * reach if is_enough else None,
        "median_high": middle + 1.2 * reach if is_enough else None,
        "p90": float(np.quantile(values, 0.9)) if n >= 20 else None,
        "p95": float(np.quantile(values, 0.95)) if n >= 40 else None,
        "min": float(values.min()),
        "max": float(values.max()),
        "icc": 0.31 if n_patients >= 8 else None,
        "design_effect": 1.31 if n_patients >= 8 else None,
        **_tolerance(name, values, n_patients),
        "note": "" if is_enough else "fewer than 5 patients: no interval",
    }


def _tolerance(name: str, values: Any, n_patients: int) -> Row:
    if measures()[name].is_signed:
        return {}
    lacking = max(0, 59 - n_patients)
    bound = None if lacking else float(values.max())
    return {"tolerance_bound": bound, "tolerance_n_more": lacking}


def _criterion(
    rows: list[Row],
    text: str,
    measure: str,
    limit: float,
    target: float | None,
    **more: Any,
) -> Row:
    met = [abs(row[measure]) <= limit for row in rows]
    by_patient: dict[str, list[bool]] = {}
    for row, is_met in zip(rows, met, strict=True):
        by_patient.setdefault(row["patient_key"], []).append(is_met)
    share = sum(met) / len(met) if met else None
    is_enough = len(by_patient) >= 5
    return {
        "criterion": text,
        "measure": measure,
        "limit_value": limit,
        "target_percent": target,
        "group_by": "overall",
        "group_value": "all",
        "sources": "coordinates, cbct",
        "n_met": sum(met),
        "n_total": len(met),
        "n_patients": len(by_patient),
        "n_patients_all_met": sum(all(patient) for patient in by_patient.values()),
        "share": share,
        "share_low": max(0.0, share - 0.11)
        if share is not None and is_enough
        else None,
        "share_high": min(1.0, share + 0.08)
        if share is not None and is_enough
        else None,
        "reached": "too few to say",
        "is_example": False,
        **more,
    }


def _criteria(implants: list[Row], pairs: list[Row]) -> list[Row]:
    return [
        _criterion(implants, "Entry within 2.5 mm of the plan", "entry_3d_mm", 2.5, 90, reached="yes"),
        _criterion(implants, "Not more than 1.5 mm off in depth", "depth_size_mm", 1.5, 95, reached="no"),
        _criterion(pairs, "Implants within 10 degrees of each other", "achieved_angle_deg", 10, 90),
        _criterion(
            implants, "Example: Angle to plan within 15 degrees", "angle_deg", 15, 80,
            is_example=True, reached="not applicable", note="an example no one has signed",
        ),
    ]  # fmt: skip


def _verdicts(cases: list[Row], implants: list[Row], pairs: list[Row]) -> list[Row]:
    guidance = {case["case_key"]: case["guidance"] for case in cases}
    found = []
    for name, rows, comparison, group, band in (
        ("entry_3d_mm", implants, "lab_made_guide", "pilot", (1.13, 3.0)),
        ("entry_3d_mm", implants, "lower_mucosa_full", "full", (1.23, 1.4)),
        ("achieved_angle_deg", pairs, "lower_mucosa_full", "full", (2.97, 5.67)),
    ):
        chosen = [row for row in rows if guidance[row["case_key"]] == group]
        if chosen:
            floor = 0.3 if name == "entry_3d_mm" else 1.0
            summed = _summed(name, chosen, "guidance", group, "cbct")
            found.append(_verdict(summed, comparison, band, floor))
    return found


def _literature(verdicts: list[Row]) -> dict[str, list[Row]]:
    sets = {row["comparison_set"]: row for row in load.rows("comparison_sets")}
    judged = [(sets[row["comparison_set"]], row["measure"]) for row in verdicts]
    return {
        "summarised.published_matches": [
            match for chosen, measure in judged for match in matches_of(chosen, measure)
        ],
        "summarised.pooled_published": [
            pooled_of(chosen, measure, method)
            for chosen, measure in judged
            for method in METHODS
        ],
    }


def _verdict(
    summed: Row, comparison: str, band: tuple[float, float], floor: float
) -> Row:
    low, high = band
    is_few = summed["n_patients"] < 8
    is_inside = not is_few and summed["mean_high"] <= high + floor
    word = "too few to say" if is_few else "inside" if is_inside else "worse"
    sentences = {
        "too few to say": "Too few to say: a verdict needs at least 8 patients.",
        "inside": "Inside: the interval does not pass the upper edge of the published means; not worse than published.",
        "worse": "Worse: all of the interval lies above the upper edge of the published means.",
    }
    kept = (
        "measure", "sources", "n_cases", "n_patients", "n_implants", "mean", "mean_low",
        "mean_high",
    )  # fmt: skip
    return {
        **{name: summed[name] for name in kept},
        "comparison_set": comparison,
        "group_by": "comparison_set",
        "group_value": comparison,
        "band_low": low,
        "band_high": high,
        "floor": floor,
        "verdict": word,
        "n_more": 5 if is_few else 0,
        "is_provisional": comparison == "lab_made_guide",
        "sentence": sentences[word],
    }


def _completeness(cases: list[Row]) -> list[Row]:
    n = len(cases)
    placed = sum(case["surgery_date"] is not None for case in cases)
    stages = (
        ("on the list", n, n),
        ("with a plan on record", sum(case["has_plan"] for case in cases), n),
        ("with the guide on record", n - 2, n),
        ("operated", placed, n),
        (
            "operated, with the result measured",
            sum(case["has_achieved"] for case in cases),
            placed,
        ),
        (
            "operated, with plan and result",
            sum(case["has_achieved"] and case["has_plan"] for case in cases),
            placed,
        ),
        ("operated, with a figure", max(placed - 1, 0), placed),
        (
            "overdenture delivered",
            sum(case["delivery_date"] is not None for case in cases),
            placed,
        ),
        ("delivered, seen again since", 28 * n // 40, 32 * n // 40),
    )
    return [
        {
            "stage": stage,
            "place_in_order": at,
            "count_cases": count,
            "count_expected": expected,
        }
        for at, (stage, count, expected) in enumerate(stages, start=1)
    ]


def _discuss(implants: list[Row], pairs: list[Row]) -> list[Row]:
    found = []
    for rows, measure, limit in (
        (implants, "entry_3d_mm", 2.5),
        (implants, "depth_size_mm", 1.5),
        (pairs, "achieved_angle_deg", 10.0),
    ):
        found += [
            {
                "case_key": row["case_key"],
                "reason": "beyond: a limit of the clinic",
                "measure": measure,
                "side": row.get("side"),
                "value": row[measure],
                "limit_value": limit,
                "is_deliberate_change": bool(row.get("is_deliberate_change")),
                "sources": f"coordinates, {row['achieved_source']}",
            }
            for row in rows
            if row[measure] > limit
        ]
    return found


def _harm(placed: list[Row]) -> list[Row]:
    return [
        {
            "case_key": placed[at % len(placed)]["case_key"],
            "patient_key": placed[at % len(placed)]["patient_key"],
            "kind": kind,
            "side": side,
            "event_date": placed[at % len(placed)]["surgery_date"],
            "amount_mm": amount,
            "is_resolved": is_resolved,
        }
        for at, kind, side, amount, is_resolved in (
            (8, "altered_sensation", "left", None, False),
            (21, "altered_sensation", "right", None, True),
            (13, "deeper_than_margin", "right", 2.4, False),
        )
    ]


def _actions() -> list[Row]:
    return [
        {"action": "Check each guide for rocking before and after pinning", "role": "surgeon", "due_date": "2026-02-01", "done_date": ""},
        {"action": "Ask the laboratory for a pin check of the next ten guides", "role": "quality lead", "due_date": "2026-05-01", "done_date": ""},
        {"action": "Record the reason when a plan is changed on purpose", "role": "all", "due_date": "2025-11-01", "done_date": "2025-10-20"},
    ]  # fmt: skip


def _checked(cases: list[Row]) -> dict[str, list[Row]]:
    counts = {
        "implants-achieved-length": 4,
        "implants-planned-upside-down": 2,
        "implants-tooth-on-other-side": 1,
    }
    held, findings, at = [], [], 0
    for check, n in counts.items():
        for _ in range(min(n, len(cases))):
            case = cases[at % len(cases)]["case_key"]
            at += 1
            held.append(
                {
                    "row_id": at,
                    "sheet": "implants",
                    "case_key": case,
                    "check_ids": [check],
                }
            )
            findings.append(_finding(check, "hold", at, case))
    findings += [
        _finding(
            "implants-measured-before-surgery", "warn", 100 + n, cases[0]["case_key"]
        )
        for n in range(3)
    ]
    results = [
        {
            "check_id": check,
            "sheet": "implants",
            "severity": "hold",
            "outcome": "failed",
            "count_failed": n,
            "count_judged": 80,
        }
        for check, n in counts.items()
    ]
    fields = [
        ("cases", "surgery_date", 36),
        ("cases", "operator_level", 28),
        ("cases", "guide_support", 40),
        ("implants", "examiner", 51),
    ]
    return {
        "checked.held": held,
        "checked.findings": findings,
        "checked.results": results,
        "staged.completeness": [
            {
                "sheet": sheet,
                "field": field,
                "count_rows": 40 if sheet == "cases" else 80,
                "count_given": given,
                "count_said_missing": 1,
                "count_unreadable": 1 if field == "surgery_date" else 0,
            }
            for sheet, field, given in fields
        ],
    }


def _records(tables: dict[str, list[Row]]) -> dict[str, list[Row]]:
    """What came and is missing, worked out from the other tables of the audit."""
    fields = [
        {name: row[name] for name in ("sheet", "field", "count_rows")}
        | {
            "count_missing": row["count_rows"] - row["count_given"],
            "count_said_missing": row["count_said_missing"],
            "count_unreadable": row["count_unreadable"],
            "count_set_aside": 0,
            "share_missing": 1 - row["count_given"] / row["count_rows"],
        }
        for row in tables["staged.completeness"]
    ]
    fields.append(
        dict.fromkeys(fields[0], 0)
        | {"sheet": "implants", "field": "site"}
        | {"count_rows": 80, "count_missing": 80, "share_missing": 1.0}
    )
    held = tables["checked.held"]
    received = [
        {
            "sheet": sheet,
            "count_files": 1,
            "count_rows": n,
            "count_rows_held": sum(row["sheet"] == sheet for row in held),
            "count_cases_held": len(
                {row["case_key"] for row in held if row["sheet"] == sheet}
            ),
            "count_cells_held": 0,
        }
        for sheet, n in (("cases", 40), ("implants", 80))
    ]
    role = "who answers for the audit"
    return {
        "summarised.missing_fields": fields,
        "summarised.records_received": received,
        "summarised.mended": [{"how": "corrected", "role": role, "count_changes": 3}],
    }


def _finding(check: str, severity: str, row_id: int, case: str) -> Row:
    return {
        "finding_id": f"F{row_id}",
        "check_id": check,
        "severity": severity,
        "reach": "row",
        "source": "planted source name.xlsx",
        "sheet": "implants",
        "row_number": row_id,
        "case_key": case,
        "as_written": "planted cell text",
        "sentence": "planted sentence of a row",
        "suggestion": "planted suggestion",
        "row_id": row_id,
    }

"""How the method works is no fault: every plan alike, upright, and not yet operated."""

from tests.integration.staged_tables import GivenRecords, implant
from tests.spec.geometry_examples import only_planned

PLAN_DAY = "2026-05-04"


def clinic_of_plans(count, *, operated):
    """Cases whose sites are all 8 mm from the midline, at 0 degrees, on every sheet."""
    given = GivenRecords()
    for number in range(count):
        case = f"L{number + 1}"
        given.add(
            "cases", case_id=case, plan_date=PLAN_DAY, guidance="pilot", jaw="lower"
        )
        for side in ("left", "right"):
            plan = {"case_id": case, "side": side, "state": "planned", "tool": "ruler"}
            given.add("cast_readings", midline_mm="8", crest_offset_mm="0", **plan)
            cells = implant(side) if operated else only_planned(side)
            if operated:
                for name in [
                    n for n in cells if n.startswith("achieved_") and n[9] in "ea"
                ]:
                    cells[name] = round(cells[name] + 0.013 * (number + 1), 3)
            given.add("implants", case_id=case, **cells)
        for quantity in ("frontal_angle", "sagittal_angle", "angle_3d"):
            figure = {"quantity": quantity, "value": "0", "source": "surveyor"}
            given.add("pair_readings", case_id=case, state="planned", **figure)
    given.checked()
    return given


def test_cases_that_are_only_planned_are_told_nothing():
    assert clinic_of_plans(12, operated=False).findings("check_id, sentence") == []


def test_plans_that_are_all_alike_are_told_nothing_once_operated():
    assert clinic_of_plans(12, operated=True).findings("check_id, sentence") == []


def test_cast_readings_of_results_may_agree_with_the_plan_and_with_each_other():
    """A ruler read to half a millimetre gives 8 more often than not."""
    given = GivenRecords()
    for number in range(12):
        for state in ("planned", "achieved"):
            for side in ("left", "right"):
                given.add(
                    "cast_readings",
                    case_id=f"M{number + 1}",
                    side=side,
                    state=state,
                    midline_mm="8",
                    crest_offset_mm="0",
                    tool="ruler",
                    resolution_mm="0.5",
                    cast_id=f"{state} {number}",
                )
    given.checked()
    assert given.findings("check_id") == []

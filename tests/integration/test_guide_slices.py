"""From pair readings in three states to the guide as made apart from the surgery."""

import numpy as np
import pytest

from tests.audits import audit_of, opened

N = 11
RNG = np.random.default_rng(20261125)
PLANNED = RNG.uniform(-2, 2, N).round(2)
GUIDE = (PLANNED + RNG.normal(0, 1, N)).round(2)
ACHIEVED = (GUIDE + RNG.normal(0, 2, N)).round(2)
NOT_OPERATED_YET = 10


def angle(case, state, value, reading):
    converging = "yes" if value > 0 else "no"
    return f"C{case:02d},{state},frontal_angle,{abs(value)},surveyor,{converging},{reading}"


def readings(*, repeats):
    """Return the sheet; with repeats each plan is read again, 0.3 degrees apart."""
    lines = ["case_id,state,quantity,value,source,converging,reading"]
    for case in range(N):
        states = {"planned": PLANNED, "guide": GUIDE, "achieved": ACHIEVED}
        for state, values in states.items():
            if (case, state) != (NOT_OPERATED_YET, "achieved"):
                lines.append(angle(case, state, values[case], 1))
        if repeats:
            lines.append(angle(case, "planned", (PLANNED[case] + 0.3).round(2), 2))
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module", params=[False, True], ids=["read once", "repeats"])
def found(request, tmp_path_factory):
    cases = "case_id,jaw\n" + "".join(f"C{c:02d},lower\n" for c in range(N))
    files = {"pair_readings.csv": readings(repeats=request.param), "cases.csv": cases}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = audit_of(
            tmp_path_factory.mktemp("guides") / "a", files, up_to="summarised"
        )
    with opened(folder) as audit:
        rows = audit.frame("select * from summarised.guide_slices")
        said = audit.frame(
            "select * from measured.repeatability where examiner = 'all'"
        )
    return request.param, rows.set_index("quantity"), said


def test_both_parts_are_those_of_the_signed_angle(found):
    is_repeated, rows, repeats = found
    row = rows.loc["frontal_convergence_deg"]
    assert row["n_patients"] == N - 1
    planned = PLANNED + (0.15 if is_repeated else 0)
    lab = np.var((GUIDE - planned)[:NOT_OPERATED_YET], ddof=1)
    clinical = np.var((ACHIEVED - GUIDE)[:NOT_OPERATED_YET], ddof=1)
    off = 0.0
    if is_repeated:
        off = (
            float(
                repeats.loc[
                    repeats["quantity"] == "frontal_angle_deg", "within_sd"
                ].iloc[0]
            )
            ** 2
        )
        assert off == pytest.approx(0.3**2 / 2)
    assert row["lab_sd"] == pytest.approx(np.sqrt(lab - off))
    assert row["clinical_sd"] == pytest.approx(np.sqrt(clinical - 2 * off))
    assert row["lab_low"] < row["lab_sd"] < row["lab_high"]
    share = (lab - off) / (lab + clinical - 3 * off)
    assert row["lab_share"] == pytest.approx(share)


def test_what_of_reading_was_taken_off_is_said(found):
    is_repeated, rows, _ = found
    note = rows.loc["frontal_convergence_deg", "note"]
    assert ("taken off as if" in note) == is_repeated
    assert ("stands in both parts" in note) != is_repeated
    assert "Too few to divide: 10 pairs" in note

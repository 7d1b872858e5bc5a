"""From a csv file to the error budget: the tables say what was planted, and who is out."""

from dataclasses import fields

import numpy as np
import pytest

from pipeline.statistics.budget import common_share
from pipeline.statistics.common_motion import common_motion
from pipeline.statistics.pair_errors import PairErrors, Pairs
from tests.audits import audit_of, opened
from tests.calibration.planted_pairs import Planted, draw, normal
from tests.integration.planted_audit import HEAD, coordinate_rows, planted_audit

N_PAIRS = 26
PLANTED = Planted("guide 75 %", 0.75, normal, normal, is_superimposed=False)
ON_PURPOSE = frozenset({3})
SAME_PATIENT = (24, 25)
SHIFT = (30, -12, 7)


def drawn(n):
    pairs = draw(PLANTED, (1, n), np.random.default_rng(11))
    numbers = (getattr(pairs.errors, f.name)[0] for f in fields(PairErrors))
    return Pairs(PairErrors(*numbers), pairs.length_mm, pairs.spacing_mm)


def without(pairs, cases):
    keep = [i for i in range(pairs.n) if i not in cases]
    numbers = (getattr(pairs.errors, f.name)[keep] for f in fields(PairErrors))
    return Pairs(PairErrors(*numbers), pairs.length_mm, pairs.spacing_mm)


@pytest.fixture(scope="module")
def audit(tmp_path_factory):
    """26 pairs, one changed on purpose, two of one patient."""
    patient = {case: f"P{case}" for case in range(N_PAIRS)} | {
        SAME_PATIENT[1]: f"P{SAME_PATIENT[0]}"
    }
    cases = ["case_id,patient_id,jaw,guidance,guide_support"]
    cases += [f"C{c:03d},{patient[c]},lower,full,mucosa" for c in range(N_PAIRS)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        yield planted_audit(
            tmp_path_factory.mktemp("budget") / "a",
            drawn(N_PAIRS),
            cases="\n".join(cases) + "\n",
            on_purpose=ON_PURPOSE,
        )


def rows(audit, table):
    with opened(audit) as warehouse:
        return warehouse.frame(
            f"select * from {table} where group_by = 'overall'"
        ).set_index("component")


def test_the_share_is_that_of_the_pairs_one_a_patient_as_planned(audit):
    """Which of a patient's two pairs stays depends on codes, so either may."""
    row = rows(audit, "summarised.common_share").loc["overall"]
    assert (row["n_pairs"], row["n_cases"]) == (N_PAIRS - 2, N_PAIRS)
    possible = [without(drawn(N_PAIRS), {3, second}) for second in SAME_PATIENT]
    expected = [common_share(pairs) for pairs in possible]
    assert any(
        row["share"] == pytest.approx(float(share.value), abs=1e-3)
        and row["share_low"] == pytest.approx(float(share.low), abs=5e-3)
        for share in expected
    )
    assert row["p"] == min(common_motion(pairs).p for pairs in possible) == 1 / 5000
    assert row["share_low"] < 0.75 < row["share_high"]
    assert row["seen_share"] > row["null_share"]


def test_what_was_left_out_and_what_is_not_known_is_said(audit):
    note = rows(audit, "summarised.common_share").loc["overall"]["note"]
    assert "1 pair left out: changed on purpose" in note
    assert "1 pair left out: of a patient who has another" in note
    assert "error of superimposing known for 0 of 24 pairs" in note
    assert "error of reading: a published one" in note


def test_without_superimposing_here_nothing_is_taken_off(audit):
    shares = rows(audit, "summarised.common_share")
    assert shares["beyond_share"].isna().all()
    parts = rows(audit, "summarised.error_budget")
    assert "registration" not in set(parts["part"])


def test_the_parts_of_each_component_hold_what_was_planted(audit):
    parts = rows(audit, "summarised.error_budget").reset_index()
    by = parts.set_index(["component", "part"])
    truths = PLANTED.truths(N_PAIRS)
    for component, words in (("left_right", "left-right"), ("depth", "depth")):
        for part in ("own", "common"):
            row = by.loc[(component, part)]
            assert row["low"] < np.sqrt(truths[f"{part} {words}"]) < row["high"]
    lean = by.loc[("sagittal_lean", "own")]
    assert lean["low"] < 2.0 < lean["high"]
    assert set(by.loc["facial_position"].index) == {"bias", "undivided"}


def test_superimposing_here_is_named_and_taken_off(two_scans):
    shares = rows(two_scans, "summarised.common_share").loc["overall"]
    assert shares["n_superimposed"] == shares["n_pairs"] == 10
    assert shares["beyond_share"] <= shares["share"]
    by = rows(two_scans, "summarised.error_budget").reset_index()
    registered = by[by["part"] == "registration"].set_index("component")["sd"]
    with opened(two_scans) as warehouse:
        found = warehouse.frame("select * from measured.registrations")
    assert registered["left_right"] == pytest.approx(
        np.sqrt((found["shift_left_sd_mm"] ** 2).mean())
    )
    assert registered["sagittal_lean"] == pytest.approx(
        np.sqrt((found["pitch_sd_deg"] ** 2).mean())
    )
    assert "10 pairs" in shares["note"]


@pytest.fixture(scope="module")
def two_scans(tmp_path_factory):
    """Ten pairs in scans that lie elsewhere, six matching points each."""
    rng = np.random.default_rng(5)
    points = rng.uniform(-25, 25, (6, 3)) * [1, 1, 0.4]
    lines = [HEAD + ",achieved_frame"]
    for line in coordinate_rows(drawn(10)):
        *front, last = line.split(",")
        cells = [*front, last]
        numbers = [float(cell) for cell in cells[10:]]
        moved = [repr(v + SHIFT[i % 3]) for i, v in enumerate(numbers)]
        lines.append(",".join([*cells[:10], *moved, "scan"]))
    marks = ["case_id,label,frame,x_mm,y_mm,z_mm"]
    for case in range(10):
        seen = points + np.array(SHIFT) + rng.normal(0, 0.15, points.shape)
        for frame, at in (("plan", points), ("scan", seen)):
            marks += [
                f"C{case:03d},m{i},{frame}," + ",".join(map(repr, map(float, p)))
                for i, p in enumerate(at)
            ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        yield audit_of(
            tmp_path_factory.mktemp("scans") / "a",
            {
                "implants.csv": "\n".join(lines) + "\n",
                "landmarks.csv": "\n".join(marks) + "\n",
            },
            up_to="summarised",
        )

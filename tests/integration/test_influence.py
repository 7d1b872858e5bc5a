"""Each mean is said without the case that moves it most; flags are few and have reasons."""

import numpy as np
import pytest

from pipeline.statistics.bias import vector_bias
from pipeline.statistics.influence import Influence
from pipeline.summarised.influence import REACHED, VERDICTS, rests_on
from tests.audits import audit_of, opened

N_CASES = 14
ODD = 5
HEAD = (
    "case_id",
    "side",
    "entry_3d_mm",
    "angle_deg",
    "frontal_tilt_change_deg",
    "sagittal_tilt_change_deg",
    "is_signed",
    "achieved_source",
)


def sheets(entries, leans):
    cases = ["case_id,jaw,guidance,guide_support,guide_method"]
    figures = [",".join(HEAD)]
    for case in range(N_CASES):
        cases.append(f"C{case:02d},lower,full,mucosa,printed")
        for i, side in enumerate(("left", "right")):
            frontal, sagittal = leans[case, i]
            figures.append(
                f"C{case:02d},{side},{entries[case, i]},{np.hypot(frontal, sagittal):.2f},"
                f"{frontal},{sagittal},yes,cbct"
            )
    return {
        "cases.csv": "\n".join(cases) + "\n",
        "deviations.csv": "\n".join(figures) + "\n",
    }


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Fourteen cases about 1.2 mm off, one of them 5 mm; all lean to one side."""
    rng = np.random.default_rng(9)
    entries = rng.uniform(1.0, 1.4, (N_CASES, 2)).round(3)
    entries[ODD] = 5.02, 4.97
    leans = rng.normal([2.0, 0.3], 1.5, (N_CASES, 2, 2)).round(2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = audit_of(
            tmp_path_factory.mktemp("odd") / "a",
            sheets(entries, leans),
            up_to="summarised",
        )
        with opened(folder) as audit:
            yield {
                "entries": entries,
                "leans": leans,
                "influence": audit.frame("select * from summarised.influence"),
                "odd_case": audit.value(
                    "select case_key from measured.implants order by entry_3d_mm desc"
                    " limit 1"
                ),
                "bias": audit.frame("select * from summarised.bias"),
            }


def row_of(tables, kind):
    rows = tables["influence"]
    found = rows[(rows["measure"] == "entry_3d_mm") & (rows["kind"] == kind)]
    return found.iloc[0]


def test_the_mean_without_the_odd_case_is_said_and_the_case_is_named(tables):
    row, entries = row_of(tables, "mean"), tables["entries"]
    assert row["case_key"] == tables["odd_case"]
    assert row["mean"] == pytest.approx(entries.mean())
    assert row["mean_without"] == pytest.approx(np.delete(entries, ODD, axis=0).mean())
    assert row["is_flagged"]
    assert row["reason"] == "unusual among the others"


def test_a_verdict_that_rests_on_one_case_is_flagged_with_both_words(tables):
    row = row_of(tables, "verdict")
    assert row["is_flagged"]
    assert row["reason"].startswith("rests on single cases: too few to say with it, ")


def test_fewer_patients_alone_make_no_verdict_rest_on_a_case():
    """Without the one case that missed, "yes" may turn into "too few to say"."""
    nobody = np.zeros(4, bool)
    up = Influence(15, 0.97, 1.0, nobody, None)
    assert rests_on(up, REACHED, "yes", "too few to say") is None
    assert rests_on(up, REACHED, "too few to say", "yes") is not None
    down = Influence(15, 1.6, 1.2, nobody, None)
    assert rests_on(down, VERDICTS, "worse", "too few to say") is not None
    assert rests_on(down, VERDICTS, "inside", "too few to say") is None
    assert rests_on(down, VERDICTS, "inside", "inside") is None


def test_bias_is_judged_as_a_whole_vector_on_the_patients_means(tables):
    bias = tables["bias"].set_index("vector")
    assert list(bias.index) == ["lean"]  # the sheet holds no place and no pair
    row, leans = bias.loc["lean"], tables["leans"]
    expected = vector_bias(leans.reshape(-1, 2), np.repeat(np.arange(N_CASES), 2))
    assert (row["n_patients"], row["n_implants"]) == (N_CASES, 2 * N_CASES)
    assert row["t2"] == pytest.approx(expected.t2)
    assert row["p"] == pytest.approx(expected.p_value)
    assert row["p"] < 0.05
    assert row["size"] == pytest.approx(np.hypot(*leans.mean(axis=(0, 1))))

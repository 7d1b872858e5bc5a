"""Left against right, in the same patients."""

import numpy as np
import pytest
from scipy import stats

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.sections import left_right
from tests.audits import audit_of, implants_csv, opened
from tests.integration.report_tables import WRITTEN_AT
from tests.integration.test_plans_kept import SIDES, implant

N_CASES = 11
FORWARD = {"left": 4.0, "right": 0.5}
"""Mean forward lean of each side in degrees, planted."""


def sheets(n_cases=N_CASES, *, twice=()):
    """Both sides of each case; patients in ``twice`` have the case after theirs as well."""
    rng = np.random.default_rng(23)
    rows, cases = [], ["case_id,patient_id,surgery_date"]
    for number in range(n_cases):
        name, person = f"C{number:02d}", f"P{number - (number - 1 in twice):02d}"
        cases.append(f"{name},{person},2025-05-{number + 1:02d}")
        own = rng.normal(0, 2)  # what both sides share
        for side in SIDES:
            lean = (rng.normal(1, 1.5) + own, rng.normal(FORWARD[side], 1.2) + own)
            rows.append(implant(name, side, tuple(map(float, lean))))
    # one implant alone has no other side to compare with
    rows.append(implant("C99", "left", (1.234, -2.345)))
    return {
        "cases.csv": "\n".join(cases) + "\n",
        "implants.csv": implants_csv(rows),
    }


def audited(folder, **how):
    return audit_of(folder, sheets(**how), up_to="summarised")


def table(folder):
    with opened(folder) as audit:
        return audit.frame("from summarised.left_right").set_index("measure")


def sides_of(folder, measure):
    with opened(folder) as audit:
        values = audit.frame(
            f"select case_key, patient_key, side, {measure} as value"
            " from summarised.implant_values"
        )
    return values.pivot_table(
        index=["case_key", "patient_key"], columns="side", values="value"
    ).dropna()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        return audited(tmp_path_factory.mktemp("sides") / "a")


@pytest.mark.parametrize("measure", ["angle_deg", "sagittal_tilt_change_deg"])
def test_the_difference_is_the_paired_one_of_other_libraries(folder, measure):
    """`scipy.stats.ttest_rel`: mean of left less right and its 95 % interval."""
    both = sides_of(folder, measure)
    wanted = stats.ttest_rel(both["left"], both["right"]).confidence_interval()
    row = table(folder).loc[measure]
    got = row[["difference", "low", "high"]].tolist()
    mean = (both["left"] - both["right"]).mean()
    assert got == pytest.approx([mean, *wanted])
    assert (row["n_pairs"], row["n_patients"]) == (N_CASES, N_CASES)


def test_an_implant_alone_is_in_neither_mean(folder):
    both = sides_of(folder, "angle_deg")
    row = table(folder).loc["angle_deg"]
    assert row["mean_left"] == pytest.approx(both["left"].mean())


def test_a_patient_with_two_jaws_counts_once(tmp_path):
    """`statsmodels` OLS on a constant with errors clustered by patient, t on n - 1."""
    import statsmodels.api as sm

    folder = audited(tmp_path / "a", twice=(2, 6))
    both = sides_of(folder, "sagittal_tilt_change_deg")
    apart = (both["left"] - both["right"]).to_numpy()
    patients = both.index.get_level_values("patient_key").factorize()[0]
    fit = sm.OLS(apart, np.ones(len(apart))).fit(
        cov_type="cluster",
        cov_kwds={"groups": patients, "df_correction": True},
        use_t=True,
    )
    row = table(folder).loc["sagittal_tilt_change_deg"]
    n, n_values = patients.max() + 1, len(apart)
    # that library also corrects for the number of values, (N - 1)/(N - k), here 1
    assert (row["n_pairs"], row["n_patients"]) == (n_values, n)
    assert row[["low", "high"]].tolist() == pytest.approx(fit.conf_int()[0].tolist())


def said_of(folder):
    with opened(folder) as audit:
        section = left_right.content(AuditTables(audit, WRITTEN_AT))
    return section and section.context


def test_the_section_names_what_differs_and_warns_of_chance(folder):
    said = said_of(folder)
    assert "Change of sagittal lean" in said["first"]
    assert "about one in twenty would by chance" in said["first"]
    [line] = [x for x in said["lines"] if x["measure"] == "Change of sagittal lean"]
    assert line["difference"].startswith("+")
    assert "11\u00a0pairs, 11\u00a0patients" in line["n"]


def test_four_patients_are_too_few_to_say(tmp_path):
    said = said_of(audited(tmp_path / "a", n_cases=4))
    assert said["first"].startswith("Too few patients")
    assert {line["interval"] for line in said["lines"]} == {"too few to say"}


def test_without_both_sides_there_is_no_such_section(tmp_path):
    assert said_of(audited(tmp_path / "a", n_cases=0)) is None

"""This cycle against the last one, from audit.toml to the page."""

import csv

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from pipeline import audit as audits
from pipeline import commands
from pipeline.reported.wording import MINUS
from tests.audits import fill, opened, quiet

NOW = [1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48]
BEFORE = [2.61, 1.37, 3.02, 0.95, 2.26, 1.71, 2.84, 3.66]
CYCLES = """
[[cycle]]
name = "2024 <b>"
from = 2024-01-01
to = 2024-12-31

[[cycle]]
name = "older"
from = 2023-01-01
to = 2023-12-31

[[cycle]]
name = "2025"
from = 2025-01-01
to = 2025-12-31
"""


@pytest.fixture
def folder(tmp_path):
    """Seven cases of 2025 and eight of 2024, one implant each, figures as given."""
    folder = tmp_path / "audit"
    audits.create_folder(folder)
    cases, rows = ["case_id,surgery_date"], ["case_id,side,entry_3d_mm,achieved_source"]
    for year, values in ((2025, NOW), (2024, BEFORE)):
        for at, value in enumerate(values):
            cases.append(f"Q{year}{at},{year}-{at + 2:02d}-1{at}")
            rows.append(f"Q{year}{at},left,{value},cbct")
    fill(folder, {"cases.csv": "\n".join(cases), "deviations.csv": "\n".join(rows)})
    settings = folder / "audit.toml"
    settings.write_text(settings.read_text("utf-8") + CYCLES, encoding="utf-8")
    path = folder / "criteria.csv"
    head = path.read_text(encoding="utf-8").splitlines()[0]
    names = head.split(",")
    own = dict.fromkeys(names, "") | {"criterion": "Entry within 2 mm", "measure": "entry_3d_mm", "limit": "2", "signed_by": "lead"}  # fmt: skip
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, names)
        writer.writeheader()
        writer.writerow(own)
    return folder


def changes(folder, cycle):
    commands.run(folder, "reported", commands.Wishes(cycle), quiet)
    with opened(folder) as store:
        rows = store.frame("select * from summarised.cycle_change").to_dict("records")
    return {(row["kind"], row["subject"]): row for row in rows}


def test_a_cycle_is_compared_with_the_one_that_ended_before_it(folder):
    found = changes(folder, "2025")
    mean = found["mean", "entry_3d_mm"]
    assert mean["last_cycle"] == "2024 <b>"
    assert (mean["n_patients"], mean["last_n_patients"]) == (7, 8)
    limits = stats.ttest_ind(NOW, BEFORE, equal_var=False).confidence_interval(0.95)
    assert mean["change_low"] == pytest.approx(limits.low)
    assert mean["change_high"] == pytest.approx(limits.high)
    assert mean["ratio"] == pytest.approx(np.mean(NOW) / np.mean(BEFORE))
    assert mean["ratio_low"] < mean["ratio"] < mean["ratio_high"]
    met = found["criterion", "Entry within 2 mm"]
    assert (met["n_met"], met["n_total"]) == (6, 7)
    assert (met["last_n_met"], met["last_n_total"]) == (3, 8)


def by_hand():
    """Method 10 on statsmodels' Wilson limits; n - 1 effective for single implants."""
    (low, high), (low_before, high_before) = (
        proportion_confint(share * n, n, method="wilson")
        for share, n in ((6 / 7, 6), (3 / 8, 7))
    )
    change = 6 / 7 - 3 / 8
    yield change - ((6 / 7 - low) ** 2 + (high_before - 3 / 8) ** 2) ** 0.5
    yield change + ((high - 6 / 7) ** 2 + (3 / 8 - low_before) ** 2) ** 0.5


def test_the_page_shows_both_cycles_and_the_change_with_its_interval(folder):
    changes(folder, "2025")
    page = (folder / "reports" / "clinic_review_2025.html").read_text(encoding="utf-8")
    text = page.replace("\u00a0", " ")
    assert "Last cycle: 3 of 8 in 8 patients, 38 %" in text
    # by hand: Wilson's limits of 6/7 and 3/8 on 6 and 7 effective, Newcombe's method 10
    low, high = (f"{100 * end:+.0f}".replace("-", MINUS) for end in by_hand())
    assert f"Change: +48 points ({low} to {high})." in text
    assert "A mean within a limit does not say that each implant is" in text
    assert "times as large (95 % interval)" in text
    assert f"{np.mean(NOW) / np.mean(BEFORE):.2f} (" in text
    assert "2024 &lt;b&gt;" in text
    assert "2024 <b>" not in text


def test_without_a_cycle_before_nothing_is_compared(folder):
    assert changes(folder, None) == {}
    assert changes(folder, "older") == {}
    page = (folder / "reports" / "clinic_review_older.html").read_text(encoding="utf-8")
    assert "Last cycle" not in page


ACTION = "action,role,due_date,done_date\nNew <i>tubes</i>,laboratory,2024-12-01,2025-01-02\n"


def test_an_action_shows_the_mean_before_and_after_with_its_caution(folder):
    (folder / "actions.csv").write_text(ACTION, encoding="utf-8")
    changes(folder, None)
    with opened(folder) as store:
        (row,) = store.frame(
            "select * from summarised.around_actions where measure = 'entry_3d_mm'"
        ).to_dict("records")
        chart = store.frame(
            "select * from summarised.control_chart where measure = 'entry_3d_mm'"
            " order by case_number"
        )
        (rules,) = store.frame(
            "select * from summarised.run_chart where measure = 'entry_3d_mm'"
        ).to_dict("records")
    assert (row["n_patients_before"], row["n_patients_after"]) == (8, 7)
    limits = stats.ttest_ind(NOW, BEFORE, equal_var=False).confidence_interval(0.95)
    assert row["change_low"] == pytest.approx(limits.low)
    assert row["change_high"] == pytest.approx(limits.high)
    assert chart["case_mean"].tolist() == BEFORE + NOW
    assert (
        chart["is_outside"].isna().all()
    )  # 15 cases: the baseline, nothing judged yet
    assert chart["is_drift"].isna().all()
    assert (rules["n_cases"], rules["longest_allowed"]) == (15, 7)
    page = (folder / "reports" / "clinic_review.html").read_text(encoding="utf-8")
    assert "regression to the mean" in page
    assert "Limits for single cases take more than 15 cases." in page
    assert "New &lt;i&gt;tubes&lt;/i&gt;" in page
    assert "New <i>tubes" not in page

"""The plan before surgery: film checks, what the film foretold, the load log."""

import numpy as np
import pytest
from scipy.stats import pearsonr

from pipeline import commands
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.sections import plans_kept
from pipeline.warehouse import Warehouse
from tests.audits import (
    COORDINATES,
    audit_of,
    fill,
    implants_csv,
    opened,
    quiet,
)
from tests.integration.report_tables import WRITTEN_AT
from tests.integration.test_films import film, sheet
from tests.integration.test_parallelism import LENGTH_MM, axis

SIDES = ("left", "right")


def implant(case, side, leans, **more):
    """A row planned upright at 8 mm; leans are inward and forward in degrees."""
    entry = np.array([8.0 if side == "left" else -8.0, 0.0, 0.0])
    tip = entry - LENGTH_MM * axis(*np.radians(leans), side)
    points = [*entry, *(entry - [0, 0, LENGTH_MM]), *entry, *tip.round(6)]
    cells = dict(zip(COORDINATES, points, strict=True))
    return {"case_id": case, "side": side, "achieved_source": "cbct"} | cells | more


def section_of(folder):
    with opened(folder) as audit:
        section = plans_kept.content(AuditTables(audit, WRITTEN_AT))
    return section and section.context


def filmed(folder, n_cases):
    """Film of the plan and result of some cases; the last plan was changed by the film."""
    rng = np.random.default_rng(17)
    shown = rng.normal([2, -3], 4, (n_cases, 2))
    ended = shown + rng.normal(0, 3, shown.shape)
    forward = rng.normal(0, 2, shown.shape)
    rows, films, cases = [], [], ["case_id,surgery_date,film_check"]
    for number in range(n_cases):
        name, is_last = f"C{number:02d}", number == n_cases - 1
        cases.append(
            f"{name},2025-03-{number + 1:02d},{'changed' if is_last else 'accepted'}"
        )
        for place, side in enumerate(SIDES):
            leans = (float(shown[number, place]), 0.0)
            films.append(film(name, side, "planned", "frontal", leans))
            at = (float(ended[number, place]), float(forward[number, place]))
            rows.append(implant(name, side, at))
    files = {
        "cases.csv": "\n".join(cases) + "\n",
        "films.csv": sheet(films),
        "implants.csv": implants_csv(rows),
    }
    folder = audit_of(folder, files, up_to="summarised")
    return folder, shown.sum(axis=1)[:-1], ended.sum(axis=1)[:-1]


def test_what_the_film_foretold_is_the_correlation_of_other_libraries(tmp_path):
    """`scipy.stats.pearsonr` and its Fisher interval; changed plans are left out."""
    folder, shown, ended = filmed(tmp_path / "a", 13)
    with opened(folder) as audit:
        [row] = audit.frame("from summarised.film_foretold").to_dict("records")
    wanted = pearsonr(shown, ended)
    limits = wanted.confidence_interval()
    names = ("correlation", "correlation_low", "correlation_high", "mean_difference")
    assert [row[name] for name in names] == pytest.approx(
        [wanted.statistic, limits.low, limits.high, np.mean(ended - shown)], abs=1e-3
    )
    assert (row["quantity"], row["n_patients"]) == ("frontal_convergence_deg", 12)
    assert row["n_same_way"] == int((shown * ended > 0).sum())
    said = section_of(folder)
    assert said["film"].startswith("The film check changed the plan in 1 of 13 cases")
    assert f"{row['n_same_way']} of 12 pairs" in said["foretold"][0]
    assert "The film foretold something" in said["foretold"][0]


def test_four_films_are_too_few_to_say_what_a_film_foretells(tmp_path):
    folder, _, _ = filmed(tmp_path / "a", 5)
    assert "Too few patients to say" in section_of(folder)["foretold"][0]


PLANNED_ONLY = [name for name in COORDINATES if name.startswith("planned")]


def loaded_on(folder, day):
    """Pretend that everything so far was loaded on a day."""
    with Warehouse(folder / "records.duckdb", root=folder) as store:
        store.run("update loads set loaded_at = $day::timestamp", {"day": day})


@pytest.fixture
def planned_first(tmp_path):
    """Three plans loaded in January, results in spring; C2's plan was altered with them."""
    leans = {"C1": (2.0, 1.0), "C2": (-3.0, 2.5), "C3": (4.0, -1.5)}
    full = [implant(case, side, at) for case, at in leans.items() for side in SIDES]
    plans = [{n: row[n] for n in ("case_id", "side", *PLANNED_ONLY)} for row in full]
    days = {"C1": "2025-03-04", "C2": "2025-03-12", "C3": "2025-01-10"}
    cases = "case_id,surgery_date\n" + "".join(f"{c},{d}\n" for c, d in days.items())
    folder = audit_of(
        tmp_path / "a",
        {"cases.csv": cases, "implants.csv": implants_csv(plans)},
        up_to="summarised",
    )
    loaded_on(folder, "2025-01-10 09:00:00")
    for row in full:
        if row["case_id"] == "C2":
            row["planned_entry_y_mm"] = 0.5
    # a spreadsheet that writes 8 for 8.0 alters no plan
    results = implants_csv(full).replace("8.0,", "8,")
    fill(folder, {"implants.csv": results})
    commands.run(folder, "summarised", commands.Wishes(), quiet)
    return folder


def test_the_load_log_proves_which_plans_were_on_file_before_surgery(planned_first):
    """C1 came first and kept its numbers; C2 was altered after; C3 came on the very day."""
    with opened(planned_first) as audit:
        rows = audit.frame("from measured.plans_on_file order by surgery_date")
        [kept] = audit.frame("from summarised.plans_kept").to_dict("records")
    assert rows["is_before_surgery"].tolist() == [False, True, False]
    assert rows["is_altered_after"].tolist() == [False, False, True]
    assert (kept["count_before_surgery"], kept["count_with_plan"]) == (1, 3)
    said = section_of(planned_first)
    assert "by the load log: 1 of 3 operated cases with a plan. In 1" in said["on_file"]
    assert "altered or completed after it" in said["on_file"]
    assert "No case that counts has a film check" in said["film"]

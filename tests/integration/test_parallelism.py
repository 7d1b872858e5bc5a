"""Parallelism kept: planned against achieved, allowances, leans against the occlusal plane.

Intervals are those of other libraries: `scipy.stats.ttest_1samp` for signed means,
`statsmodels.stats.proportion.proportion_confint(method="wilson")` for shares of pairs.
"""

import html
import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from pipeline import audit as audits
from pipeline.own_limits import Allowance
from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import clinic_page
from pipeline.reported.sections import parallelism
from pipeline.reported.wording import Words
from tests.audits import COORDINATES, audit_of, implants_csv, opened
from tests.integration.report_tables import WRITTEN_AT

N_CASES = 12
KINDS = ("stud", "ball", "bar")
LENGTH_MM = 10.0


def axis(inward, forward, side):
    """The unit vector up an implant with those leans; x left, y back, z up."""
    toward = -1 if side == "left" else 1
    up = np.array([toward * np.tan(inward), -np.tan(forward), 1.0])
    return up / np.linalg.norm(up)


@pytest.fixture(scope="module")
def leans():
    """Leans inward and forward in degrees, shape (case, side, 2), rounded as written."""
    rng = np.random.default_rng(41)
    return rng.normal([[3.0, 2.0], [1.0, -1.0]], 3.0, (N_CASES, 2, 2)).round(2)


def audit_with(folder, leans, *, frame):
    cases = ["case_id,patient_id,jaw,attachment,plan_coordinates_from"]
    rows = []
    for number, own in enumerate(leans):
        name = f"C{number:02d}"
        cases.append(f"{name},P{number:02d},lower,{KINDS[number % 3]},{frame}")
        for side, (inward, forward) in zip(("left", "right"), own, strict=True):
            entry = np.array([8.0 if side == "left" else -8.0, 0.0, 0.0])
            tip = entry - LENGTH_MM * axis(*np.radians([inward, forward]), side)
            points = [*entry, *(entry - [0, 0, LENGTH_MM]), *entry, *tip.round(6)]
            rows.append(
                {"case_id": name, "side": side, "achieved_source": "cbct"}
                | dict(zip(COORDINATES, points, strict=True))
            )
    files = {"cases.csv": "\n".join(cases) + "\n", "implants.csv": implants_csv(rows)}
    return audit_of(folder, files, up_to="summarised")


@pytest.fixture(scope="module")
def made(tmp_path_factory, leans):
    """The table and the page's text, with and without a known occlusal plane."""
    found = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        for frame in ("surveyor", "software"):
            folder = audit_with(
                tmp_path_factory.mktemp(frame) / "a", leans, frame=frame
            )
            with opened(folder) as audit:
                table = audit.frame("select * from summarised.parallelism")
                tables = AuditTables(audit, WRITTEN_AT, Words())
                whole = clinic_page(
                    tables, cache_folder=tmp_path_factory.mktemp("library")
                )
            shown = re.sub(r"<[^>]+>", " ", whole.partition("<script")[0])
            text = re.sub(r"\s+", " ", html.unescape(shown).replace("\xa0", " "))
            found[frame] = table, text
    return found


def line(made, quantity, state="achieved", frame="surveyor", **more):
    table = made[frame][0]
    is_it = (table["quantity"] == quantity) & (table["state"] == state)
    for name, value in more.items():
        is_it &= table[name] == value
    [row] = table[is_it].to_dict("records")
    return row


@pytest.mark.parametrize(
    ("quantity", "of_leans"),
    [
        ("frontal_convergence", lambda a: a[:, 0, 0] + a[:, 1, 0]),
        ("sagittal_difference", lambda a: a[:, 0, 1] - a[:, 1, 1]),
        ("pair_forward", lambda a: a[:, :, 1].mean(axis=1)),
        ("pair_leftward", lambda a: (a[:, 1, 0] - a[:, 0, 0]) / 2),
    ],
)
def test_the_signed_means_and_their_intervals_are_those_of_student(
    made, leans, quantity, of_leans
):
    values = of_leans(leans)
    low, high = stats.ttest_1samp(values, 0).confidence_interval()
    for state in ("achieved", "change"):
        row = line(made, quantity, state)
        got = [row[name] for name in ("value", "low", "high")]
        assert got == pytest.approx([values.mean(), low, high], abs=2e-3)
        assert (row["n_values"], row["n_patients"]) == (N_CASES, N_CASES)


def test_turned_against_each_other_is_the_root_of_both_changes(made, leans):
    turned = np.hypot(leans[:, :, 0].sum(axis=1), leans[:, 0, 1] - leans[:, 1, 1])
    row = line(made, "turned", "change")
    got = [row[name] for name in ("value", "smallest", "largest")]
    wanted = [turned.mean(), turned.min(), turned.max()]
    assert got == pytest.approx(wanted, abs=2e-3)


def angles_of(leans):
    left, right = (
        np.array([axis(*np.radians(own[i]), side) for own in leans])
        for i, side in enumerate(("left", "right"))
    )
    return np.degrees(np.arccos(np.einsum("ni,ni->n", left, right)))


@pytest.mark.parametrize(
    "row", load.rows("attachment_limits"), ids=lambda r: r["limit_deg"]
)
def test_pairs_within_a_limit_in_print_are_counted_with_wilsons_interval(
    made, leans, row
):
    limit = float(row["limit_deg"])
    met = int((angles_of(leans) <= limit).sum())
    got = line(made, "within_printed", limit_deg=limit)
    # patients who differ are worth one less than there are, for their spread is not known
    worth = N_CASES - (0 < met < N_CASES)
    low, high = proportion_confint(met / N_CASES * worth, worth, method="wilson")
    assert got["n_met"] == met
    assert [got["low"], got["high"]] == pytest.approx([low, high], abs=1e-9)


def test_each_kind_is_held_to_its_own_allowance_and_a_bar_to_none(made, leans):
    own = Allowance()
    angles = angles_of(leans)
    for place, kind in enumerate(KINDS[:2]):
        limit = getattr(own, f"{kind}_between_deg")
        row = line(made, "within_allowance", attachment=kind)
        assert row["limit_deg"] == limit
        assert (row["n_met"], row["n_values"]) == ((angles[place::3] <= limit).sum(), 4)
        assert pd.isna(row["low"]), "four patients have no interval"
    table = made["surveyor"][0]
    assert set(table[table["quantity"] == "within_allowance"]["attachment"]) == {
        "stud",
        "ball",
    }


def test_implants_that_lean_backward_are_counted_one_by_one(made, leans):
    row = line(made, "leans_back")
    assert row["n_met"] == (leans[:, :, 1] < 0).sum()
    assert (row["n_values"], row["n_patients"]) == (2 * N_CASES, N_CASES)


def test_no_lean_is_told_where_the_occlusal_plane_is_not_known(made):
    table, text = made["software"]
    known = set(table["quantity"])
    assert not known & {
        "pair_forward",
        "pair_leftward",
        "implant_forward",
        "leans_back",
    }
    assert {"angle", "turned"} <= known
    assert "no case that counts here has a record of where that plane lies" in text
    assert "implants lean backward, lingually" not in text


def test_the_page_tells_what_is_allowed_and_how_weak_the_evidence_is(made, leans):
    text = made["surveyor"][1]
    back = (leans[:, :, 1] < 0).sum()
    assert f"{back} of {2 * N_CASES} implants lean backward, lingually" in text
    assert "stud, 20° between the two:" in text
    assert "(too few to say; 4 patients)" in text
    assert "weak evidence as a cause of maintenance" in text
    assert "found no relation (41 patients with ball attachments; Walton 2001" in text


def test_pairs_without_an_allowance_are_counted_and_not_judged(made):
    """A third of the pairs are on bars, for which no limit is set."""
    for frame in ("surveyor", "software"):
        assert "Not judged: 4 pairs with an angle" in made[frame][1]


def test_each_implant_is_drawn_from_plan_to_result(drawn, leans):
    rows, waits = drawn(N_CASES)
    assert waits == []
    achieved = np.array([row["achieved"] for row in rows]).reshape(N_CASES, 2)
    expected = {tuple(np.round(own, 2)) for own in leans[:, :, 1]}
    assert {tuple(own) for own in achieved.round(2)} == expected
    assert {row["planned"] for row in rows} == {0.0}


def test_below_five_cases_the_leans_are_not_drawn_and_wait(drawn):
    rows, waits = drawn(4)
    assert rows is None
    assert [(wait.what, wait.has, wait.needs) for wait in waits] == [("leans", 4, 5)]


@pytest.fixture
def drawn(tmp_path, leans):
    """Return the rows of the picture of leans of so many cases, and what waits."""

    def of(n_cases):
        folder = audit_with(tmp_path / f"{n_cases}", leans[:n_cases], frame="surveyor")
        with opened(folder) as audit:
            section = parallelism.content(AuditTables(audit, WRITTEN_AT))
        return section.tables.get("forward_leans"), list(section.waits)

    return of


def test_a_clinic_may_set_an_allowance_of_its_own(tmp_path):
    folder = tmp_path / "a"
    audit = audits.create_folder(folder)
    with (folder / audits.SETTINGS_FILE).open("a") as file:
        file.write("\n[allowance]\nbar_between_deg = 12\n")
    allowed = audit.settings().allowance
    assert allowed.bar_between_deg == 12.0
    assert allowed.magnet_between_deg is None

"""A case whose geometry is set aside is told which mend would bring it back."""

import pytest

from pipeline.checked.checks import all_checks
from pipeline.checked.diagnoses import is_geometric
from pipeline.checked.mending_words import clause, mends, sentence
from pipeline.reference import load
from tests.audits import opened
from tests.integration.staged_tables import GivenRecords, implant
from tests.spec.geometry_examples import exchanged, moved


def achieved(side):
    return {n: c for n, c in implant(side).items() if n.startswith("achieved")}


def diagnosed(*rows, **case):
    """Check one case of these implants; return what was diagnosed, and the findings."""
    given = GivenRecords()
    given.add("cases", case_id="a", **case)
    for cells in rows:
        given.add("implants", case_id="a", **cells)
    warehouse = given.checked()
    found = warehouse.run(
        "select mend, other_mends, entry_before_mm, entry_after_mm, is_unique, sentence,"
        " finding_ids from checked.diagnoses"
    )
    return found, given


def test_swapped_labels_are_said_with_what_swapping_them_gains():
    (found,), given = diagnosed(
        implant("left", planned_entry_y_mm=3, planned_apex_y_mm=3) | achieved("right"),
        implant("right") | achieved("left"),
    )
    mend, others, before, after, is_unique, said, ids = found
    assert (mend, others, is_unique) == (
        "achieved_sites",
        "achieved_axes|achieved_mirror_x",
        False,
    )
    assert before > 16
    assert after < 3
    assert said.startswith(
        "If I exchange left and right of the result, the error at the entry drops from"
        " 17 to 2.8 mm."
    )
    suggestions = dict(given.findings("finding_id, suggestion", severity="hold"))
    suggestions |= dict(given.findings("finding_id, suggestion", severity="stop"))
    assert {i: s.startswith(said) for i, s in suggestions.items()} == dict.fromkeys(
        ids, True
    )


def test_only_the_reading_that_is_at_fault_is_diagnosed():
    (found,), _ = diagnosed(
        implant("left", reading=1),
        implant("right", reading=1),
        exchanged("achieved") | {"reading": 2},
        implant("right", reading=2),
    )
    assert found[0] == "achieved_ends_left"
    assert "exchange entry and apex of the result of the left implant" in found[5]


def test_a_case_that_no_mend_brings_back_is_said_so():
    (found,), given = diagnosed(moved("left", y=12), implant("right"))
    assert found[:2] == ("none", None)
    assert found[3] is None
    ((suggestion,),) = given.findings("suggestion", check_id="implants-entry-far")
    assert suggestion.startswith("Check that plan and result are of the same patient")
    assert suggestion.endswith(found[5])


@pytest.mark.parametrize(
    "rows",
    [
        (implant("left"), implant("right")),
        # a fault of a label, of a key or of a plan used again is none of the points
        (implant("left", diameter_mm=35), implant("right")),
        (implant("left"), implant("left"), implant("right")),
    ],
    ids=["clean", "diameter", "entered twice"],
)
def test_cases_whose_points_are_not_at_fault_are_not_diagnosed(rows):
    found, _ = diagnosed(*rows)
    assert found == []


def test_nothing_is_applied(demo):
    """The rows stay set aside and unchanged, whatever was diagnosed."""
    with opened(demo) as audit:
        held = audit.run(
            """select count(*) from checked.diagnoses as d
            inner join checked.held as h on d.case_key = h.case_key"""
        )
        unused = audit.run(
            """select count(*) from checked.diagnoses as d
            inner join measured.readings as r on d.case_key = r.case_key
            inner join checked.held as h on r.row_id = h.row_id"""
        )
    assert held[0][0] > 0
    assert unused == [(0,)]


def test_the_planted_faults_of_the_invented_clinic_are_named(demo):
    with opened(demo) as audit:
        found = audit.run(
            "select mend, other_mends from checked.diagnoses order by mend"
        )
    assert [mend for mend, _ in found] == [
        "achieved_ends_left",
        "achieved_sites",
        "both_scale_right_10",
    ]


def test_every_mend_of_the_table_has_its_words():
    for mend in mends():
        said = clause(mend)
        assert "{" not in said
        assert said
    assert len({mend.name for mend in mends()}) == len(mends())
    assert len({clause(mend) for mend in mends()}) == len(mends())
    assert sentence([], has_labels=True, was_length=False)


def test_checks_of_points_that_set_a_row_or_case_aside_lead_to_a_diagnosis():
    ids = {check.check_id for check in all_checks() if is_geometric(check)}
    assert {
        "implants-entry-far",
        "implants-achieved-length",
        "pair-achieved-sides",
        "pair-not-one-frame",
    } <= ids
    assert "implants-same-implant-twice" not in ids
    assert "implants-diameter" not in ids


def test_the_table_of_mends_holds_what_the_program_can_do():
    actions = {row["action"] for row in load.rows("mends")}
    assert actions == {
        "sites",
        "ends",
        "scale",
        "axes",
        "states",
        "mirror",
        "inverse",
        "shift",
    }

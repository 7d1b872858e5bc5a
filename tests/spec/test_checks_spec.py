"""Every check: a tiny clean example that passes, and one that fails with its sentence."""

import pytest

from pipeline.checked.checks import by_id
from tests.integration.staged_tables import GivenRecords
from tests.spec.catalogue_examples import CATALOGUE
from tests.spec.cell_examples import CELLS, NO_SUCH_CELL
from tests.spec.check_examples import CANNOT_HAPPEN, FOLLOW_UP, OF_SHEETS, cells
from tests.spec.film_examples import FILMS, LOADED_AGAIN, PADS
from tests.spec.geometry_examples import GEOMETRY
from tests.spec.mesh_examples import MESHES
from tests.spec.registration_examples import REGISTRATIONS
from tests.spec.superimposing_examples import SUPERIMPOSING

EXAMPLES = (
    *cells(),
    *FOLLOW_UP,
    *OF_SHEETS,
    *CELLS,
    *CATALOGUE,
    *GEOMETRY,
    *SUPERIMPOSING,
    *FILMS,
    *PADS,
    *MESHES,
    *REGISTRATIONS,
    *LOADED_AGAIN,
)


def audit_of(part: str) -> GivenRecords:
    """One audit with the good, or the bad, rows of every example, each its own case."""
    given = GivenRecords()
    for number, example in enumerate(EXAMPLES):
        for sheet, written in getattr(example, part):
            given.add(sheet, f"{example.check_id}.xlsx", **own(sheet, written, number))
        if part == "bad":
            for sheet, written in example.elsewhere:
                given.add(sheet, f"second {number}.xlsx", **own(sheet, written, number))
            for sheet in {sheet for sheet, _ in example.bad if example.again}:
                source = f"{example.check_id}.xlsx"
                given.load_again(sheet, source, as_status=example.again)
    given.checked()
    return given


def own(sheet, written, number):
    """Give the row a case, or another key, of its example alone."""
    key = {"treated": "practice_no", "guides": "guide_id"}.get(sheet, "case_id")
    if key == "case_id":
        return {"case_id": f"case {number}", **written}
    return {**written, key: f"{written[key]} {number}" if written.get(key) else ""}


@pytest.fixture(scope="module")
def good():
    return audit_of("good")


@pytest.fixture(scope="module")
def bad():
    return audit_of("bad")


def test_every_check_has_an_example():
    shown = {example.check_id for example in EXAMPLES}
    cannot_happen = CANNOT_HAPPEN | NO_SUCH_CELL
    assert shown | cannot_happen == set(by_id())
    assert shown & cannot_happen == set()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.check_id)
def test_the_clean_example_passes(good, example):
    found = good.findings("check_id", source=f"{example.check_id}.xlsx")
    serious = [c for (c,) in found if by_id()[c].severity != "warn"]
    assert serious == []
    assert (example.check_id,) not in found


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.check_id)
def test_the_faulty_example_fails_with_its_sentence(bad, example):
    said = bad.findings(
        "sentence", source=f"{example.check_id}.xlsx", check_id=example.check_id
    )
    assert said
    assert said[0] == (example.says,)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.check_id)
def test_a_stop_or_hold_sets_aside_what_it_reaches_and_a_warning_nothing(bad, example):
    check = by_id()[example.check_id]
    row_ids = bad.findings(
        "row_id, field, case_key",
        source=f"{example.check_id}.xlsx",
        check_id=example.check_id,
    )
    held = {
        row_id
        for (row_id,) in bad.warehouse.run(
            "select row_id from checked.held where list_contains(check_ids, $c)",
            {"c": example.check_id},
        )
    }
    aside = set(bad.warehouse.run("select row_id, field from checked.cells_set_aside"))
    if not check.sets_aside:
        assert held == set()
    elif check.reach == "row":
        assert {row_id for row_id, _, _ in row_ids} <= held
    elif check.reach == "cell":
        assert {(row_id, field) for row_id, field, _ in row_ids} <= aside
    else:
        assert held

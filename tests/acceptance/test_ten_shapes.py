"""Whatever shape a clinic's sheet has, the same cases end in the same figures."""

import copy
import hashlib
from pathlib import Path

import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.records.layouts import layout_of
from pipeline.records.proposing import propose
from pipeline.records.store import fields_of
from tests.acceptance.shapes import COUNT_CASES, IMPLANTS, SHAPES, Shape, ours
from tests.audits import fill, opened, quiet, records_of

NOT_COMPARED = {"row_id", "source", "row_number", "row_key"}


def measured(folder: Path) -> dict[str, list[tuple]]:
    """Return the rows of every measured table, without where they came from."""
    with opened(folder) as audit:
        tables = [name for name in audit.tables() if name.startswith("measured.")]
        found = {}
        for table in tables:
            names = [n for n, _ in audit.columns(table) if n not in NOT_COMPARED]
            columns = ", ".join(f'"{name}"' for name in names)
            found[table] = audit.run(f"select {columns} from {table} order by all")
    return found


def measure(
    folder: Path, files: dict, layouts: dict[str, str], key: Path, up_to="measured"
) -> Path:
    """Run an audit over files and layouts, with the key of the first one."""
    audits.create_folder(folder)
    settings = folder / "audit.toml"
    lines = settings.read_text(encoding="utf-8").splitlines()
    lines = [line for line in lines if not line.startswith("key_file")]
    at = lines.index("[audit]") + 1
    lines.insert(at, f"key_file = '{key}'")
    settings.write_text("\n".join(lines), encoding="utf-8")
    fill(folder, files)
    for name, layout in layouts.items():
        (folder / "layouts" / f"{name}.toml").write_text(layout, encoding="utf-8")
    commands.run(folder, up_to, commands.Wishes(), quiet)
    return folder


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """The 20 cases under our own headings: the key they are coded with, the figures."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = tmp_path_factory.mktemp("ours") / "audit"
        key = audits.create_folder(folder).settings().key_file
        fill(folder, ours())
        commands.run(folder, "measured", commands.Wishes(), quiet)
        yield key, measured(folder)


def test_the_cases_under_our_own_headings_are_measured(base):
    _, tables = base
    assert len(tables["measured.implants"]) == 2 * COUNT_CASES
    assert len(tables["measured.pairs"]) == COUNT_CASES
    assert len(tables["measured.readings"]) == len(IMPLANTS)


@pytest.fixture(scope="module", params=SHAPES, ids=lambda shape: shape.name)
def by_layout(request, base, tmp_path_factory):
    """One of the shapes, run with its layout."""
    shape: Shape = request.param
    key, _ = base
    layouts = {Path(shape.name).stem: shape.layout}
    folder = tmp_path_factory.mktemp("shape") / "audit"
    return shape, measure(folder, {shape.name: shape.content}, layouts, key)


def test_there_are_ten_shapes_or_more():
    assert len({shape.name for shape in SHAPES}) >= 10


def test_every_shape_ends_in_the_same_measured_tables(base, by_layout):
    _, expected = base
    _, folder = by_layout
    found = measured(folder)
    assert found.keys() == expected.keys()
    for table, rows in expected.items():
        assert found[table] == rows, table


def test_the_load_says_by_which_layout_it_was_read(by_layout):
    shape, folder = by_layout
    with records_of(folder) as records:
        loads = records.run("select distinct layout, layout_sha256 from loads")
        kept = records.value("select count(*) from received_rows")
        rows = records.value("select sum(count_rows) from loads")
    digest = hashlib.sha256(shape.layout.encode()).hexdigest()
    assert loads == [(Path(shape.name).stem, digest)]
    assert kept == rows


def test_no_case_number_is_left_in_the_folder(by_layout):
    _, folder = by_layout
    for path in folder.rglob("*"):
        if path.is_file() and path.parent.name != "records":
            assert b"K0" + b"07" not in path.read_bytes(), path.name


ALWAYS_ASKED = {"what was the achieved position read from": "cbct"}


@pytest.fixture(scope="module", params=SHAPES, ids=lambda shape: shape.name)
def proposed(request, tmp_path_factory):
    """One of the shapes and the layout proposed for it."""
    shape: Shape = request.param
    path = tmp_path_factory.mktemp("file") / shape.name
    path.write_bytes(shape.content)
    return shape, propose(path)


def test_a_proposal_asks_what_the_sheet_leaves_open_and_nothing_else(proposed):
    shape, proposal = proposed
    expected = {**ALWAYS_ASKED, **shape.answers}
    asked = [question.sentence for question in proposal.draft.questions]
    assert len(asked) == len(expected)
    for words in expected:
        assert sum(words in sentence for sentence in asked) == 1, words


def test_a_proposal_is_not_used_before_it_is_confirmed(proposed):
    _, proposal = proposed
    assert layout_of(proposal.text().encode(), name=proposal.name).open_points


def loaded(folder: Path) -> dict[str, list[tuple]]:
    """Return what was loaded, field by field, without where it came from."""
    with records_of(folder) as records:
        return {
            sheet: records.run(
                f"select {', '.join(fields_of(sheet))} from {sheet}"
                " anti join rows_not_in_use using (row_id) order by all"
            )
            for sheet in ("implants", "cases")
        }


def test_a_proposal_with_its_questions_answered_reads_the_same_as_the_layout(
    base, proposed, tmp_path
):
    key, _ = base
    shape, proposal = proposed
    answers = {**ALWAYS_ASKED, **shape.answers}
    proposal = copy.deepcopy(proposal)
    for question in list(proposal.draft.questions):
        answer = next(a for words, a in answers.items() if words in question.sentence)
        proposal.draft.answer(question, answer)
    files = {shape.name: shape.content}
    found = [
        loaded(measure(tmp_path / name, files, {"layout": layout}, key, "records"))
        for name, layout in (("by_hand", shape.layout), ("proposed", proposal.text()))
    ]
    assert found[0] == found[1]
    assert len(found[0]["implants"]) == len(IMPLANTS)

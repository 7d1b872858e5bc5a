"""plumbpost accept, for points that a proposed mend brings back to plausible."""

import csv

import pytest

from pipeline import deciding
from pipeline.records import decisions
from tests.audits import audit_of, implants_csv, invoke, opened, records_of
from tests.functional.test_accept import lead
from tests.integration.staged_tables import implant
from tests.spec.geometry_examples import POINTS, exchanged, moved


def achieved(side):
    return {n: c for n, c in implant(side).items() if n.startswith("achieved")}


ENDS = {"left": exchanged("achieved"), "right": implant("right")}
SIDES = {
    "left": implant("left") | achieved("right"),
    "right": implant("right") | achieved("left"),
}
FAR = {"left": moved("left", y=12), "right": implant("right")}


def audit_with(place, pair):
    rows = [{"case_id": "0017", "side": side} | cells for side, cells in pair.items()]
    folder = audit_of(place, {"implants.csv": implants_csv(rows)}, up_to="checked")
    lead(folder, "quality lead")
    return folder


@pytest.fixture
def ends(tmp_path):
    return audit_with(tmp_path / "a", ENDS)


def serious(folder):
    with opened(folder) as audit:
        return audit.run(
            "select finding_id, suggestion from checked.findings"
            " where severity in ('stop', 'hold') order by check_id"
        )


def in_use(folder):
    with records_of(folder) as records:
        return records.run(
            "select side, achieved_entry_z_mm, achieved_apex_z_mm from implants"
            " anti join rows_not_in_use using (row_id) order by side"
        )


def shown(capsys, folder, table):
    _, out, _ = invoke(capsys, "show", folder, table, "--format", "csv")
    return list(csv.DictReader(out.splitlines()))


def accept(capsys, folder, *words, why="the headings of the export were exchanged"):
    return invoke(capsys, "accept", folder, *words, "--why", why)


def count_held(folder):
    with opened(folder) as audit:
        return audit.value("select count(*) from checked.held")


def test_the_only_mend_proposed_is_applied_and_its_cells_are_kept(capsys, ends):
    before = in_use(ends)
    (name, suggestion), *_ = serious(ends)
    command = suggestion.partition("To apply it type: ")[2].partition(" --why")[0]
    assert command.startswith("plumbpost accept DIR ")
    named = command.rpartition(" ")[2]
    assert named in [one for one, _ in serious(ends)]

    code, out, said = accept(capsys, ends, name)
    assert (code, out) == (0, "")
    assert (
        f"{name}: exchange entry and apex of the result of the left implant"
        " (6 cells of 1 row of implants)" in said
    )
    assert f"Then: plumbpost run {ends}" in said
    assert invoke(capsys, "check", ends, "--strict")[0] == 0
    assert count_held(ends) == 0
    assert serious(ends) == []

    (_, entry, apex), right = before
    assert in_use(ends) == [("left", apex, entry), right]
    amended = {row["field"]: row for row in shown(capsys, ends, "records.amendments")}
    assert set(amended) == {f"achieved_{point}" for point in POINTS}
    row = amended["achieved_entry_z_mm"]
    assert (row["old_value"], row["new_value"]) == (entry, apex)
    assert row["changed_by"] == "quality lead"
    assert row["why"] == "the headings of the export were exchanged"
    (answer,) = shown(capsys, ends, "records.corrections")
    assert name in answer["workbook"]
    with records_of(ends) as records:
        assert records.value("select count(*) from implants") == 3, "the row is kept"
    with (ends / "decisions.csv").open(encoding="utf-8", newline="") as handle:
        lines = list(csv.DictReader(handle))
    assert len(lines) == 6
    assert {(one["who"], one["answer"], one["about"]) for one in lines} == {
        ("quality lead", "mended", f"implants.csv, implants, row 2, finding {name}")
    }
    assert {(one["old"], one["new"]) for one in lines} >= {(entry, apex)}


def test_several_findings_of_a_case_are_one_mend(capsys, ends):
    names = [name for name, _ in serious(ends)]
    assert len(names) > 1
    assert accept(capsys, ends, *names)[0] == 0
    with records_of(ends) as records:
        assert records.value("select count(*) from amendments") == 6


def test_several_mends_that_fit_are_listed_and_mend_chooses(capsys, tmp_path):
    folder = audit_with(tmp_path / "b", SIDES)
    (name, suggestion), *_ = serious(folder)
    assert "--mend achieved_sites --why TEXT, or there achieved_axes or " in suggestion
    code, _, said = accept(capsys, folder, name)
    assert code == 2
    assert f"mends bring the case of {name} back alike" in said
    assert "--mend NAME" in said
    assert "achieved_sites: exchange left and right of the result" in said
    code, _, said = accept(capsys, folder, name, "--mend", "planned_ends_left")
    assert code == 2
    assert f"planned_ends_left is not proposed for {name}" in said
    assert "achieved_sites:" in said
    assert not (folder / "decisions.csv").exists()
    code, _, said = accept(capsys, folder, name, "--mend", "achieved_sites")
    assert code == 0, said
    invoke(capsys, "check", folder)
    assert count_held(folder) == 0


def test_without_a_mend_proposed_there_is_one_plain_sentence(capsys, tmp_path):
    folder = audit_with(tmp_path / "b", FAR)
    (name, _), *_ = serious(folder)
    code, _, said = accept(capsys, folder, name)
    assert code == 2
    assert f"No mend is proposed for {name}." in said
    assert "Traceback" not in said


def test_a_finding_that_was_answered_since_is_settled(capsys, ends):
    (name, _), *_ = serious(ends)
    accept(capsys, ends, name)
    code, _, said = accept(capsys, ends, name)
    assert code == 2
    assert f"{name} is settled already" in said
    invoke(capsys, "check", ends)
    code, _, said = accept(capsys, ends, name)
    assert code == 2
    assert f"The last check has no finding {name}" in said


def test_the_file_loaded_again_does_not_undo_a_mend(capsys, ends):
    (name, _), *_ = serious(ends)
    accept(capsys, ends, name)
    mended = in_use(ends)
    path = ends / "records" / "implants.csv"
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    invoke(capsys, "check", ends)
    assert in_use(ends) == mended
    assert count_held(ends) == 0


def test_a_mend_is_taken_back_by_its_finding(capsys, ends):
    before = in_use(ends)
    names = [one for one, _ in serious(ends)]
    code, _, said = accept(capsys, ends, names[0], "--mend", "none", why="too soon")
    assert code == 2
    assert f"No mend of {names[0]} is in force" in said
    accept(capsys, ends, names[0])
    invoke(capsys, "check", ends)
    code, _, said = accept(capsys, ends, names[0], "--mend", "none", why="I was wrong")
    assert code == 0, said
    assert f"{names[0]}: 6 cells put back as they came" in said
    assert in_use(ends) == before
    invoke(capsys, "check", ends)
    assert [one for one, _ in serious(ends)] == names
    assert len(shown(capsys, ends, "records.amendments")) == 12, "all of it is kept"
    assert accept(capsys, ends, names[0])[0] == 0, "and it can be accepted anew"


@pytest.mark.parametrize("broken", [decisions, deciding], ids=["note", "write_mend"])
def test_what_is_interrupted_leaves_nothing_half_in(capsys, ends, monkeypatch, broken):
    before = in_use(ends)
    (name, _), *_ = serious(ends)

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(decisions, "note", interrupted)
        if broken is deciding:
            patch.setattr(deciding, "write_mend", interrupted)
        assert accept(capsys, ends, name)[0] != 0
    assert in_use(ends) == before
    with records_of(ends) as records:
        for table in ("amendments", "corrections", "decisions"):
            assert records.value(f"select count(*) from {table}") == 0
    assert accept(capsys, ends, name)[0] == 0
    invoke(capsys, "check", ends)
    assert count_held(ends) == 0


def test_killed_before_the_list_is_written_the_next_run_completes_it(
    capsys, ends, monkeypatch
):
    (name, _), *_ = serious(ends)

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(decisions, "append_to_csv", interrupted)
        accept(capsys, ends, name)
    assert not (ends / "decisions.csv").exists()
    invoke(capsys, "check", ends)
    with (ends / "decisions.csv").open(encoding="utf-8", newline="") as handle:
        assert len(list(csv.DictReader(handle))) == 6


def test_a_decimal_comma_stays_one(capsys, tmp_path):
    rows = [{"case_id": "0017", "side": s} | cells for s, cells in ENDS.items()]
    text = implants_csv(rows).replace(",", ";").replace(".", ",")
    folder = audit_of(tmp_path / "b", {"implants.csv": text}, up_to="checked")
    lead(folder, "quality lead")
    (name, _), *_ = serious(folder)
    assert accept(capsys, folder, name)[0] == 0
    invoke(capsys, "check", folder)
    assert count_held(folder) == 0
    assert all("." not in f"{cells}" for cells in in_use(folder))

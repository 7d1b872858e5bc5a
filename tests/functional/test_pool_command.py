"""`plumbpost pool`: exports that do not measure the same are refused, with the reasons."""

import hashlib
import json
import shutil

import numpy as np
import pytest

from tests.audits import COORDINATES, audit_of, invoke


def sheet(seed, n=6):
    dice = np.random.default_rng(seed)
    lines = [f"case_id,side,{','.join(COORDINATES)},achieved_frame,achieved_source"]
    for i in range(n):
        for side, sign in (("left", 1), ("right", -1)):
            plan = np.array([sign * 9, -30, 0, sign * 9, -30, -10.0])
            plan += np.tile(dice.normal(0, 0.7, 3), 2)
            points = [*plan, *(plan + dice.normal(0, 0.6, 6))]
            written = ",".join(f"{p:.4f}" for p in points)
            lines.append(f"{seed}-{i},{side},{written},plan,cbct")
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def centres(tmp_path_factory):
    """Two centres' audits, each summarised."""
    place = tmp_path_factory.mktemp("centres")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "keys"))
        yield [
            audit_of(
                place / str(seed), {"implants.csv": sheet(seed)}, up_to="summarised"
            )
            for seed in (11, 23)
        ]


@pytest.fixture
def exports(centres, tmp_path, capsys):
    """Their exports."""
    found = []
    for n, folder in enumerate(centres):
        found.append(tmp_path / f"centre{n}")
        assert invoke(capsys, "export", folder, found[-1])[0] == 0
    return found


def rewritten(export, change):
    """Change the manifest of an export, as another version or audit would have it."""
    path = export / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    change(manifest)
    path.write_text(json.dumps(manifest), encoding="utf-8")


def test_two_exports_become_an_audit_that_runs(exports, tmp_path, capsys):
    code, _, err = invoke(capsys, "pool", tmp_path / "all", *exports)
    assert (code, "of 2 centres" in err) == (0, True)
    code, _, err = invoke(capsys, "run", tmp_path / "all")
    assert code == 0
    assert "12 cases, 24 implants measured" in err
    code, out, _ = invoke(
        capsys, "show", tmp_path / "all", "summarised.centres", "--format", "csv"
    )
    assert (code, out.count("entry_3d_mm,mm,overall,all,")) == (0, 2)


def test_totals_alone_are_pooled_and_the_report_has_no_implant(
    centres, tmp_path, capsys
):
    sources = []
    for n, folder in enumerate(centres):
        sources.append(tmp_path / f"totals{n}")
        code, _, err = invoke(capsys, "export", folder, sources[-1], "--totals")
        assert (code, "lines of totals" in err) == (0, True)
        assert sorted(p.name for p in sources[-1].iterdir()) == [
            "READ_ME.md",
            "bins.csv",
            "manifest.json",
            "totals.csv",
        ]
    assert invoke(capsys, "pool", tmp_path / "all", *sources)[0] == 0
    code, _, err = invoke(capsys, "run", tmp_path / "all")
    assert (code, "0 cases, 0 implants measured" in err) == (0, True)
    _, out, _ = invoke(
        capsys, "show", tmp_path / "all", "summarised.centres_pooled", "--format", "csv"
    )
    assert "entry_3d_mm,mm,overall,all,one sample,2,12,24," in out


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("units", "inches", "differ in units: mm, deg, days, years, and inches"),
        ("definitions", "f" * 64, "another version of plumbpost"),
        (
            "up",
            "retromolar pads to crest",
            "what leans and shifts are measured against",
        ),
        ("settling_in_days", 90.0, "settling in after delivery (settling_in_days)"),
        ("later_diameter_mm", 3.0, "diameter of a later implant"),
    ],
)
def test_exports_that_do_not_measure_the_same_are_refused_with_the_reason(
    exports, tmp_path, capsys, name, value, words
):
    rewritten(exports[1], lambda said: said["conventions"].update({name: value}))
    code, _, err = invoke(capsys, "pool", tmp_path / "all", *exports)
    assert (code, words in err) == (2, True), err
    assert not (tmp_path / "all").exists()


def test_another_entry_point_is_refused_only_where_both_state_one(
    exports, tmp_path, capsys
):
    def state(point):
        return lambda said: said["conventions"].update({"entry_point": point})

    rewritten(exports[0], state("platform"))
    assert invoke(capsys, "pool", tmp_path / "one", *exports)[0] == 0
    rewritten(exports[1], state("mucosa"))
    code, _, err = invoke(capsys, "pool", tmp_path / "two", *exports)
    assert (code, "platform, and mucosa" in err) == (2, True)


def test_one_export_alone_and_the_same_one_twice_are_refused(exports, tmp_path, capsys):
    code, _, err = invoke(capsys, "pool", tmp_path / "all", exports[0])
    assert (code, "One export alone" in err) == (2, True)
    code, _, err = invoke(capsys, "pool", tmp_path / "all", exports[0], exports[0])
    assert (code, "would count twice" in err) == (2, True)


def test_the_rows_and_the_totals_of_one_run_count_as_the_same(
    centres, exports, tmp_path, capsys
):
    invoke(capsys, "export", centres[0], tmp_path / "totals", "--totals")
    code, _, err = invoke(
        capsys, "pool", tmp_path / "all", exports[0], tmp_path / "totals"
    )
    assert (code, "would count twice" in err) == (2, True)


def test_a_file_that_was_edited_or_is_gone_is_refused(exports, tmp_path, capsys):
    path = exports[0] / "csv" / "implants.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("left", "right", 1), encoding="utf-8")
    code, _, err = invoke(capsys, "pool", tmp_path / "all", *exports)
    assert (code, "csv/implants.csv is missing or not as" in err) == (2, True)
    path.unlink()
    assert invoke(capsys, "pool", tmp_path / "all", *exports)[0] == 2


def test_a_cell_that_is_no_number_is_refused_even_with_its_hash(
    exports, tmp_path, capsys
):
    path = exports[0] / "csv" / "implants.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    column = lines[0].split(",").index("entry_3d_mm")
    cells = lines[1].split(",")
    cells[column] = "about 1"
    lines[1] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    rewritten(
        exports[0], lambda said: said["files"]["csv/implants.csv"].update(sha256=digest)
    )
    code, _, err = invoke(capsys, "pool", tmp_path / "all", *exports)
    assert (code, "column entry_3d_mm: 1 cells are no number" in err) == (2, True), err


def test_totals_that_were_counted_otherwise_are_refused(
    centres, exports, tmp_path, capsys
):
    to = tmp_path / "totals"
    invoke(capsys, "export", centres[0], to, "--totals")
    path = to / "totals.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(",2,1.5,", ",2,9.5,", 1), encoding="utf-8")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    rewritten(to, lambda said: said["files"]["totals.csv"].update(sha256=digest))
    code, _, err = invoke(capsys, "pool", tmp_path / "all", exports[1], to)
    assert (code, "what totals of this version hold" in err) == (2, True)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": "another"}', None])
def test_a_folder_that_is_no_export_is_refused(exports, tmp_path, capsys, text):
    (tmp_path / "other").mkdir()
    if text is not None:
        (tmp_path / "other" / "manifest.json").write_text(text, encoding="utf-8")
    code, _, err = invoke(
        capsys, "pool", tmp_path / "all", exports[0], tmp_path / "other"
    )
    assert (code, "is no export" in err) == (2, True), err


def test_a_code_that_would_lead_out_of_the_folder_is_refused(exports, tmp_path, capsys):
    rewritten(exports[0], lambda said: said.update(centre_code="../../elsewhere"))
    code, _, err = invoke(capsys, "pool", tmp_path / "all", *exports)
    assert (code, "cannot be pooled" in err) == (2, True)


def test_a_copy_in_the_pooled_audit_that_was_edited_since_is_refused_by_a_run(
    exports, tmp_path, capsys
):
    invoke(capsys, "pool", tmp_path / "all", *exports)
    path = next((tmp_path / "all" / "pooled").glob("*/csv/implants.csv"))
    path.write_text(path.read_text().replace("left", "right", 1))
    code, _, err = invoke(capsys, "run", tmp_path / "all")
    assert (code, "csv/implants.csv is missing or not as" in err) == (2, True)


def test_a_pooled_audit_can_be_frozen_and_made_again(exports, tmp_path, capsys):
    invoke(capsys, "pool", tmp_path / "all", *exports)
    assert invoke(capsys, "run", tmp_path / "all", "--freeze")[0] == 0
    code, _, err = invoke(capsys, "run", tmp_path / "all", "--frozen")
    assert (code, "as frozen: all" in err) == (0, True), err


def test_a_pooled_audit_takes_no_records_beside_its_exports(exports, tmp_path, capsys):
    invoke(capsys, "pool", tmp_path / "all", *exports)
    (tmp_path / "all" / "records" / "implants.csv").write_text(sheet(5))
    code, _, err = invoke(capsys, "run", tmp_path / "all")
    assert (code, "reads the exports in pooled/ alone" in err) == (2, True)


def test_totals_of_too_few_and_wishes_that_do_not_go_together_are_refused(
    centres, tmp_path, capsys
):
    few = audit_of(tmp_path / "few", {"implants.csv": sheet(7, 4)}, up_to="summarised")
    code, _, err = invoke(capsys, "export", few, tmp_path / "t", "--totals")
    assert (code, "No measure has 5 patients" in err) == (2, True)
    assert not (tmp_path / "t").exists()
    for words in (["--k", "3"], ["--relink", tmp_path / "r.csv"]):
        code, _, err = invoke(
            capsys, "export", centres[0], tmp_path / "t", "--totals", *words
        )
        assert code == 2
    shutil.rmtree(tmp_path / "few")

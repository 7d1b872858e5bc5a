"""A frozen run can be made again elsewhere, and says what is not as it was."""

import json
import shutil

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.frozen import FILE_NAME
from tests.audits import COORDINATES, fill, implants_csv, invoke, opened, quiet


def records() -> dict[str, str]:
    """Return twelve cases with coordinates, and their dentures."""
    scatter = np.random.default_rng(20261125)
    rows = []
    for case in range(12):
        for side, sign in (("left", 1), ("right", -1)):
            planned = (11.0 * sign, -30.0, 0.0, 11.0 * sign, -30.0, -10.0)
            achieved = [x + scatter.normal(0, 0.7) for x in planned]
            points = [f"{x:.2f}" for x in (*planned, *achieved)]
            rows.append(
                {"case_id": f"K{case:02}", "side": side, "achieved_source": "cbct"}
                | dict(zip(COORDINATES, points, strict=True))
            )
    cases = ["case_id,surgery_date,jaw,guidance,delivery_date"]
    cases += [
        f"K{n:02},2025-01-{n + 3:02},lower,full,2025-05-{n + 3:02}" for n in range(12)
    ]
    return {"implants.csv": implants_csv(rows), "cases.csv": "\n".join(cases) + "\n"}


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("frozen_keys")))
        folder = tmp_path_factory.mktemp("frozen") / "clinic"
        audits.create_folder(folder)
        fill(folder, records())
        wishes = commands.Wishes(is_to_freeze=True)
        assert commands.run(folder, "reported", wishes, quiet) == 0
    return folder


@pytest.fixture
def elsewhere(frozen, tmp_path, monkeypatch):
    """Return a copy on a machine that has no key and other files in records/."""
    copy = tmp_path / "copy"
    shutil.copytree(frozen, copy)
    shutil.rmtree(copy / "records")
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path / "no_keys"))
    return copy


def test_a_copy_without_key_or_files_gives_identical_tables(elsewhere, capsys):
    code, out, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 0, said
    assert out == ""
    snapshot = json.loads((elsewhere / FILE_NAME).read_text())
    assert f"as frozen: all {len(snapshot['tables'])} tables" in said
    assert {"measured.implants", "summarised.accuracy"} <= set(snapshot["tables"])


def test_the_day_of_the_frozen_run_counts_as_today(elsewhere, capsys):
    path = elsewhere / FILE_NAME
    snapshot = json.loads(path.read_text())
    path.write_text(json.dumps(snapshot | {"run_date": "2031-01-15"}))
    code, _, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 1
    assert "not as frozen: " in said
    assert "summarised.recalls_due" in said
    with opened(elsewhere) as warehouse:
        assert str(warehouse.value("select run_date from audit.run")) == "2031-01-15"


def test_a_changed_setting_is_refused_and_the_last_run_stays(elsewhere, capsys):
    before = (elsewhere / "audit.duckdb").read_bytes()
    settings = elsewhere / "audit.toml"
    text = settings.read_text()
    assert "depth_margin_mm = 2.0" in text
    settings.write_text(text.replace("depth_margin_mm = 2.0", "depth_margin_mm = 1.5"))
    code, _, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 2
    assert "The records or settings are not those of frozen.json" in said
    assert (elsewhere / "audit.duckdb").read_bytes() == before


def test_other_software_is_refused_by_name(elsewhere, capsys):
    path = elsewhere / FILE_NAME
    snapshot = json.loads(path.read_text())
    snapshot["software"]["duckdb"] = "0.1"
    path.write_text(json.dumps(snapshot))
    code, _, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 2
    assert "duckdb 0.1 (here " in said


def test_without_a_frozen_run_the_command_says_how_to_write_one(elsewhere, capsys):
    (elsewhere / FILE_NAME).unlink()
    code, _, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 2
    assert "plumbpost run copy --freeze" in said


def test_a_file_that_is_no_frozen_run_is_refused_in_a_sentence(elsewhere, capsys):
    (elsewhere / FILE_NAME).write_text('{"run_id": 1')
    code, _, said = invoke(capsys, "run", elsewhere, "--frozen")
    assert code == 2
    assert "cannot be read as a frozen run" in said


def test_frozen_stands_alone(frozen, capsys):
    code, _, said = invoke(capsys, "run", frozen, "--frozen", "--cycle", "2026")
    assert code == 2
    assert "--frozen stands alone" in said

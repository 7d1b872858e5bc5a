"""A run killed at any moment: nothing half in, nothing twice, the next run completes."""

import subprocess
import sys
import time

import pytest

from pipeline import audit as audits
from tests.audits import fill, invoke, opened, records_of

N_ROWS = 20_000


def sheet():
    lines = ["case_id,side,entry_3d_mm,angle_deg,is_signed"]
    for i in range(N_ROWS // 2):
        lines += [f"C{i},left,1.{i % 10},3,no", f"C{i},right,0.{i % 10 + 1},2,no"]
    return "\n".join(lines) + "\n"


@pytest.fixture
def folder(tmp_path):
    place = audits.create_folder(tmp_path / "a").folder
    fill(place, {"deviations.csv": sheet()})
    return place


@pytest.mark.parametrize("seconds", [0.6, 1.2, 2.0, 3.0])
def test_a_killed_run_leaves_all_rows_or_none_and_the_next_one_completes(
    folder, seconds, capsys
):
    run = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "summarise", str(folder)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    time.sleep(seconds)
    run.kill()
    run.wait()
    if (folder / "records.duckdb").exists():
        with records_of(folder) as records:
            tables = records.tables()
            if "main.deviations" in tables:
                assert records.value("select count(*) from deviations") in {0, N_ROWS}
    assert invoke(capsys, "summarise", folder)[0] == 0
    with records_of(folder) as records:
        assert records.value("select count(*) from deviations") == N_ROWS
    with opened(folder) as audit:
        assert audit.value("select count(*) from measured.implants") == N_ROWS
    assert not list(folder.glob("*.new*"))

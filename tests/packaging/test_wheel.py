"""The wheel alone: all files in it, and the demo runs from it outside a checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BUNDLED = ("sql", "reports", "synthetic_data")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    target = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(target)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    return next(target.glob("*.whl"))


def tracked():
    done = subprocess.run(
        ["git", "ls-files", "pipeline", *BUNDLED],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        pytest.skip("not a git checkout, so what is tracked cannot be told")
    return done.stdout.split("\n")[:-1]


def test_the_wheel_holds_every_tracked_file(wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    for name in tracked():
        place = name if name.startswith("pipeline/") else f"pipeline/_bundled/{name}"
        assert place in inside, name


def test_the_demo_runs_from_the_wheel_alone(wheel, tmp_path):
    unpacked = tmp_path / "site"
    zipfile.ZipFile(wheel).extractall(unpacked)
    away = tmp_path / "elsewhere"
    away.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "demo", "clinic"],
        cwd=away,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert list((away / "clinic" / "reports").glob("*.html"))


def test_the_lock_pins_every_package_with_hashes_and_names_no_address():
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    for word in ("://", "--index-url", "--extra-index-url", "--find-links"):
        assert word not in text
    packages = [line for line in text.splitlines() if line and line[0].isalnum()]
    assert len(packages) > 50
    blocks = text.split("\n")
    for i, line in enumerate(blocks):
        if line and line[0].isalnum():
            assert "==" in line, line
            assert "--hash=sha256:" in blocks[i + 1], line


def test_the_lock_covers_what_the_project_asks_for():
    import tomllib

    said = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = said["project"]["dependencies"] + said["dependency-groups"]["dev"]
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    for requirement in wanted:
        name = requirement.partition(">")[0].partition("=")[0]
        assert f"\n{name}==" in f"\n{text}", name

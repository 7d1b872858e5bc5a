"""Every test has its own place for keys, so that none touches a user's profile."""

import pytest


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The invented clinic, run once: its audit folder."""
    from pipeline import commands
    from tests.audits import quiet

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("demo_keys")))
        folder = tmp_path_factory.mktemp("demo") / "clinic"
        commands.demo(folder, quiet)
        yield folder

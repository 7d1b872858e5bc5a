"""Every test has its own place for keys, so that none touches a user's profile."""

import pytest


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))

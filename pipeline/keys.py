"""The key that makes the codes: where it is kept, how it is made and read."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from pipeline.errors import KeyProblem

HOME_VARIABLE = "PLUMBPOST_HOME"
"""Where keys are kept when it is not the user's own profile."""


def key_home() -> Path:
    """Return the folder for keys in the user's own profile."""
    chosen = os.environ.get(HOME_VARIABLE)
    if chosen:
        return Path(chosen)
    from platformdirs import user_data_path

    return user_data_path("plumbpost", appauthor=False)


def make_key(path: Path) -> None:
    """Make the key of a new audit; never a second one.

    Raises:
        KeyProblem: there is a key already, or the folder cannot be written.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise KeyProblem(
            f"There is a key at {path} already.", hint="It is kept as it is."
        ) from None
    except OSError as error:
        raise KeyProblem(
            f"The key cannot be written to {path}: {error.strerror}.",
            hint=f"Set {HOME_VARIABLE} to a folder of your own.",
        ) from None
    with os.fdopen(handle, "w", encoding="ascii") as stream:
        stream.write(secrets.token_hex(32) + "\n")


def read_key(path: Path) -> bytes:
    """Return the key that makes the codes.

    Raises:
        KeyProblem: it is not there or cannot be read. No second key is made, or
            the same patient would get two codes.
    """
    try:
        text = path.read_text(encoding="ascii").strip()
        key = bytes.fromhex(text)
    except (OSError, ValueError):
        raise KeyProblem(
            f"The key of this audit is missing or unreadable: {path}.",
            hint="Copy it back from your backup, or set key_file in audit.toml to where it is. "
            "Without it no new rows can be loaded; what was loaded can still be shown.",
        ) from None
    if len(key) < 16:
        raise KeyProblem(f"The key at {path} is too short to be one of ours.")
    return key

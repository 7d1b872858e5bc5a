"""Random codes for one export, in place of the codes of the audit.

They are drawn anew each time and depend on nothing, so that two exports of one audit
cannot be joined by them, nor an export with the audit, unless the list that leads back
was asked for.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence

LETTERS = "bcdfghjklmnpqrstvwxz"
"""Consonants alone: no code reads as a word, a number or a date in a spreadsheet."""

LENGTH = 12

_EVEN = 256 - 256 % len(LETTERS)
"""Bytes from here on are drawn again, or the first letters would come more often."""

_TO_LETTERS = bytes(ord(LETTERS[byte % len(LETTERS)]) for byte in range(256))


def fresh_code() -> str:
    """Return one random code."""
    return fresh_codes([""])[""]


def fresh_codes(keys: Sequence[str]) -> dict[str, str]:
    """Return a code for each key, all different.

    Args:
        keys: the different keys.
    """
    # in the order they are drawn: that of a set could be worked out
    codes: dict[str, None] = {}
    while len(codes) < len(keys):
        drawn = secrets.token_bytes(LENGTH * (len(keys) - len(codes)) + 64)
        letters = drawn.translate(_TO_LETTERS, bytes(range(_EVEN, 256))).decode("ascii")
        whole = range(0, len(letters) - LENGTH + 1, LENGTH)
        codes |= dict.fromkeys(letters[at : at + LENGTH] for at in whole)
    return dict(zip(keys, codes, strict=False))

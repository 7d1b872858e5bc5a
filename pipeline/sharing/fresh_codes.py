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


def fresh_code() -> str:
    """Return one random code."""
    return "".join(secrets.choice(LETTERS) for _ in range(LENGTH))


def fresh_codes(keys: Sequence[str]) -> dict[str, str]:
    """Return a code for each key, all different.

    Args:
        keys: the different keys.
    """
    codes: set[str] = set()
    while len(codes) < len(keys):
        codes.add(fresh_code())
    shuffled = list(codes)
    secrets.SystemRandom().shuffle(shuffled)
    return dict(zip(keys, shuffled, strict=True))

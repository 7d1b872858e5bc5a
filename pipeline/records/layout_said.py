"""A TOML table read key by key; what cannot be followed is named with what is allowed."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.errors import LayoutError

OPEN = "?"
"""Stands where a person has still to say which of several readings is meant."""


class Said:
    """One table of a layout file.

    Args:
        file: the file as shown to people.
        where: the place of the table in it, such as ``rows[1].fields``; '' for the
            file itself.
        values: the table.
        open_points: collects the places where a question mark still stands.
    """

    def __init__(
        self,
        file: str,
        where: str,
        values: Mapping[str, Any],
        open_points: list[str],
    ) -> None:
        self.file = file
        self.where = where
        self.values = dict(values)
        self.open_points = open_points
        self._asked: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def place(self, key: str = "") -> str:
        """Return where a key stands, such as ``rows[1].sheet``."""
        return ".".join(part for part in (self.where, key) if part)

    def wrong(self, key: str, fault: str, hint: str = "") -> LayoutError:
        """Return the error for one key."""
        at = self.place(key)
        return LayoutError(f"{self.file}: {at + ' ' if at else ''}{fault}", hint=hint)

    def _take(self, key: str, default: Any) -> Any:
        self._asked.append(key)
        return self.values.get(key, default)

    def text(self, key: str, default: str = "") -> str:
        """Return a text; a question mark becomes an open point and the default."""
        found = self._take(key, default)
        if not isinstance(found, str):
            raise self.wrong(key, "should be a text in quotes.")
        if found == OPEN:
            self.open_points.append(f"{self.place(key)} is still {OPEN!r}")
            return default
        return found

    def choice(self, key: str, allowed: Iterable[str], default: str) -> str:
        """Return one of the allowed words."""
        found = self.text(key, default)
        words = list(allowed)
        if found not in {*words, default}:
            shown = ", ".join(word or "''" for word in words)
            close = difflib.get_close_matches(found, words, n=1)
            meant = f"Did you mean {close[0]}? " if close else ""
            raise self.wrong(
                key, f"is {found!r}, which is not allowed.", f"{meant}Allowed: {shown}."
            )
        return found

    def flag(self, key: str) -> bool:
        """Return true or false; false when it is not there."""
        found = self._take(key, False)  # noqa: FBT003 - the value, not an option
        if not isinstance(found, bool):
            raise self.wrong(key, "should be true or false.")
        return found

    def whole(self, key: str, default: int, *, most: int) -> int:
        """Return a whole number from 1 up."""
        found = self._take(key, default)
        if (
            not isinstance(found, int)
            or isinstance(found, bool)
            or not 1 <= found <= most
        ):
            raise self.wrong(key, f"should be a whole number from 1 to {most}.")
        return found

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; empty when it is not there."""
        found = self._take(key, [])
        if not isinstance(found, list) or not all(isinstance(t, str) for t in found):
            raise self.wrong(
                key, 'should be a list of texts, such as ["Case", "Site"].'
            )
        return tuple(found)

    def pattern(self, key: str, *, groups: int | None = None) -> re.Pattern[str] | None:
        """Return a regular expression for a whole cell; None when it is not there."""
        written = self.text(key)
        return self.compiled(key, written, groups=groups) if written else None

    def compiled(
        self, key: str, written: str, *, groups: int | None = None
    ) -> re.Pattern[str]:
        """Return a regular expression that was written at a key."""
        try:
            found = re.compile(written, re.IGNORECASE)
        except re.error as error:
            raise self.wrong(key, f"is no regular expression: {error}.") from None
        if groups is not None and found.groups != groups:
            raise self.wrong(
                key,
                f"has {found.groups} groups; it needs {groups}.",
                "Put the part that is the value in (..), all other brackets as (?:..).",
            )
        return found

    def table(self, key: str) -> Said | None:
        """Return a table below this one; None when it is not there."""
        found = self._take(key, None)
        if found is None:
            return None
        if not isinstance(found, dict):
            raise self.wrong(key, f"should be a table: [{self.place(key)}].")
        return Said(self.file, self.place(key), found, self.open_points)

    def tables(self, key: str) -> list[Said]:
        """Return a list of tables, numbered from 1 for people."""
        found = self._take(key, [])
        if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
            raise self.wrong(
                key, f"should be tables, each under [[{self.place(key)}]]."
            )
        return [
            Said(self.file, f"{self.place(key)}[{number}]", one, self.open_points)
            for number, one in enumerate(found, start=1)
        ]

    def done(self) -> None:
        """Refuse keys that nothing asked for.

        Raises:
            LayoutError: naming the key and what is allowed in its place.
        """
        for key in self.values:
            if key not in self._asked:
                close = difflib.get_close_matches(key, self._asked, n=1)
                meant = f"Did you mean {close[0]}? " if close else ""
                allowed = ", ".join(dict.fromkeys(self._asked))
                raise self.wrong(
                    key, "is not known here.", f"{meant}Allowed: {allowed}."
                )

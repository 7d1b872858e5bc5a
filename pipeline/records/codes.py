"""Codes for case numbers, people and laboratories.

The clinic's own numbers and names never enter the audit folder's databases: each is
replaced by a 12-character code, a keyed hash of the number. The key and the list that
leads back from code to number lie outside the folder, in the user's own profile, and
are never exported. Whoever holds both the folder and the key can lead codes back.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import KeyProblem
from pipeline.keys import read_key
from pipeline.reference import load
from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

LENGTH = 12
"""Characters of a code: no collision to five decimals among 500,000 numbers."""


def normal_form(number: str) -> str:
    """Return a number or name as it is hashed.

    Trimmed, Unicode NFKC, letters as they are, leading zeros kept, and 123.0, as a
    spreadsheet writes a number, taken for 123. A word for a missing value is empty.
    """
    text = number if number.isascii() else unicodedata.normalize("NFKC", number)
    text = " ".join(text.split())
    if text.endswith("0"):
        text = _AS_WRITTEN_BY_A_SPREADSHEET.sub(r"\1", text)
    return "" if text.lower() in _said_missing() else text


_AS_WRITTEN_BY_A_SPREADSHEET = re.compile(r"^(\d+)\.0+$")


@cache
def _said_missing() -> frozenset[str]:
    return frozenset(row["word"] for row in load.rows("said_missing"))


class Codebook:
    """Makes codes with the audit's key and remembers what they stand for.

    Args:
        settings: settings of the audit; they name the key.

    Raises:
        KeyProblem: the key is missing; a second key is never made silently.
    """

    def __init__(self, settings: Settings) -> None:
        self._key = read_key(settings.key_file)
        self._file = settings.key_file.parent / "codes.duckdb"

    @property
    def fingerprint(self) -> str:
        """Tells whether two keys are the same without saying the key."""
        return hashlib.sha256(b"plumbpost key " + self._key).hexdigest()[:16]

    def code_of(self, kind: str, number: str) -> str:
        """Return the code of one number or name of a kind (case, person, ...)."""
        normal = normal_form(number)
        if not normal:
            return ""
        digest = hmac.digest(self._key, f"{kind}:{normal}".encode(), "sha256")
        return base64.b32encode(digest[:10]).decode("ascii").lower()[:LENGTH]

    def codes_of(self, kind: str, numbers: Iterable[str]) -> dict[str, str]:
        """Return number as written -> code, for the distinct numbers given."""
        return {number: self.code_of(kind, number) for number in set(numbers)}

    def remember(self, codes: Mapping[tuple[str, str], str]) -> None:
        """Keep (kind, number) -> code beside the key, before the rows are committed."""
        import pandas as pd

        rows = {
            (kind, code, normal_form(number))
            for (kind, number), code in codes.items()
            if code
        }
        if not rows:
            return
        frame = pd.DataFrame(sorted(rows), columns=["kind", "code", "number"])
        with Warehouse(self._file, root=self._file.parent) as store:
            _make_private(self._file)
            store.run(
                "create table if not exists codes"
                " (kind varchar, code varchar, number varchar, primary key (kind, code))"
            )
            with store.transaction(), store.registered("fresh", frame):
                clash = store.value(
                    "select count(*) from fresh inner join codes using (kind, code)"
                    " where fresh.number <> codes.number"
                )
                if clash:
                    raise KeyProblem(
                        f"{clash} codes would stand for two numbers; nothing was loaded.",
                        hint="Write to the maintainers: the code length must grow.",
                    )
                store.run(
                    "insert into codes select f.kind, f.code, f.number from fresh as f"
                    " anti join codes as c using (kind, code)"
                )

    def answer(self, select: str) -> pd.DataFrame:
        """Answer a select over codes(kind, code, number), on this machine only."""
        import pandas as pd

        if not self._file.exists():
            return pd.DataFrame()
        with Warehouse(self._file, root=self._file.parent, read_only=True) as store:
            return store.frame(select)

    def numbers_behind(self, kind: str) -> dict[str, str]:
        """Return code -> number for one kind, on this machine only."""
        if not self._file.exists():
            return {}
        with Warehouse(self._file, root=self._file.parent, read_only=True) as store:
            rows = store.run(
                "select code, number from codes where kind = $kind", {"kind": kind}
            )
        return dict(rows)


def _make_private(path: Path) -> None:
    if path.exists():
        path.chmod(0o600)

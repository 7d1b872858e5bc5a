"""The natural key of a row: what makes it the same row in next month's file."""

from __future__ import annotations

from pipeline.reference import load
from pipeline.warehouse import named

NOT_IN_VALUES = frozenset({"side", "tooth", "site"})


def row_key_expression(sheet: str) -> str:
    """Return SQL for the natural key of a row: its key fields, compared as words.

    Side, tooth and site give one part: the site, else the side, else the side that
    the tooth implies, else the tooth, so that a tooth number added later is a
    correction and not another implant.
    """
    keys = [f.field for f in load.fields(sheet) if f.is_key]
    parts = []
    place = [name for name in ("site", "side") if name in keys]
    if "tooth" in keys:
        given = [f"nullif(lower(trim({named(name)})), '')" for name in place]
        sided = "side_of(trim(tooth))"
        parts.append(f"coalesce({', '.join([*given, sided])}, lower(trim(tooth)))")
        keys = [key for key in keys if key not in NOT_IN_VALUES]
    parts += [_key_part(sheet, key) for key in keys]
    return f"concat_ws('|', {', '.join(parts)})"


def _key_part(sheet: str, key: str) -> str:
    part = f"lower(trim({named(key)}))"
    instead = load.stand_ins(sheet).get(key)
    if instead is None:
        return part
    return f"coalesce(nullif({part}, ''), lower(trim({named(instead)})))"


def one_key_expression(sheet: str) -> str:
    """Return SQL for the natural key, or for ``row n`` where no key field is filled in."""
    key = row_key_expression(sheet)
    return (
        f"case when {key} is null or trim({key}, '| ') = ''"
        f" then 'row ' || row_number else {key} end"
    )

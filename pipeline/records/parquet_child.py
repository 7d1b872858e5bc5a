"""The process that reads one Parquet file under limits and then ends.

DuckDB reads it, on a connection that may touch its folder alone. Out on stdout go one
line of facts, then one JSON line a column, its cells as text. Called as
``python -m pipeline.records.parquet_child FILE``.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

from pipeline.records.child import limit_this_process
from pipeline.warehouse import Warehouse, named

READ = "read_parquet($file, hive_partitioning = false)"
LIMIT_LETTERS = 400_000_000
"""A text stored once may stand in a million cells."""

_AS_IT_IS = re.compile(r"VARCHAR|U?(TINY|SMALL|BIG|HUGE)?INT(EGER)?|UUID|TIME|ENUM\(.*")
_DECIMAL = re.compile(r"DECIMAL\(\d+,(\d+)\)")


def main(file: str) -> int:
    """Read the file and write its columns to stdout, one after the other.

    Args:
        file: path of the file.

    Returns:
        0, also for a file whose kind of content is refused in the facts; 1 when its
        cells cannot be read.
    """
    limit_this_process()
    path = Path(file)
    try:
        with Warehouse(root=path.parent) as warehouse:
            kinds = _kinds(warehouse, path)
            _say(kinds)
            if not kinds["refused"]:
                _write_columns(warehouse, path, kinds["columns"])
    except Exception:  # noqa: BLE001  any fault of a foreign file ends here
        return 1
    return 0


def _say(line: Any) -> None:
    sys.stdout.buffer.write(json.dumps(line).encode("ascii") + b"\n")


def _kinds(warehouse: Warehouse, path: Path) -> dict[str, Any]:
    """Return SQL for the cells of each column, and the headings no cell can be under."""
    described = warehouse.run(f"describe select * from {READ}", {"file": str(path)})
    columns = {row[0]: text_in_sql(named(row[0]), row[1]) for row in described}
    refused = [name for name, text in columns.items() if not text]
    return {"columns": columns, "refused": refused}


def _write_columns(warehouse: Warehouse, path: Path, columns: dict[str, str]) -> None:
    count_letters = 0
    for text in columns.values():
        rows = warehouse.run(
            f"select coalesce({text}, '') from {READ}", {"file": str(path)}
        )
        cells = [cell for (cell,) in rows]
        count_letters += sum(map(len, cells))
        if count_letters > LIMIT_LETTERS:
            raise MemoryError
        _say(cells)


def text_in_sql(column: str, kind: str) -> str:
    """Return SQL for the cells of a column as text; '' for a kind no cell can be.

    Whole numbers come without a decimal point, others as the shortest exact text, days
    in ISO 8601 (with the time, in UTC where the file knows the zone, unless it is
    midnight), true and false as yes and no.

    Args:
        column: the column, quoted.
        kind: its DuckDB type.
    """
    text = f"{column}::varchar"
    if _AS_IT_IS.fullmatch(kind) or kind == "DATE":
        return text
    if kind == "BOOLEAN":
        return f"case when {column} then 'yes' when not {column} then 'no' end"
    if kind in {"FLOAT", "DOUBLE"}:
        is_whole = f"{column} = trunc({column}) and abs({column}) < 1e18"
        return f"case when {is_whole} then {column}::bigint::varchar else {text} end"
    if decimal := _DECIMAL.fullmatch(kind):
        is_whole_kind = decimal[1] == "0"
        return text if is_whole_kind else f"rtrim(rtrim({text}, '0'), '.')"
    if kind.startswith("TIMESTAMP"):
        zone = "Z" if kind == "TIMESTAMP WITH TIME ZONE" else ""
        moment = f"make_timestamp(epoch_us({column}))" if zone else column
        return (
            f"case when {moment}::time = time '00:00:00' then {moment}::date::varchar"
            f" else replace({moment}::varchar, ' ', 'T') || '{zone}' end"
        )
    return ""


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

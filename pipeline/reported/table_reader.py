"""How a report reads the tables of an audit: rows of plain values."""

from __future__ import annotations

from datetime import date, datetime
from functools import cached_property
from typing import Any, TypeAlias

from pipeline.warehouse import Warehouse

Row: TypeAlias = dict[str, Any]

MOST_CASES = 1500
"""Cases that stand one by one on a page, the latest ones; tables of figures cover all."""


def rows_of(warehouse: Warehouse, select: str) -> list[Row]:
    """Return the rows of a select, missing values as None."""
    frame = warehouse.frame(select)
    kept = frame.astype(object).where(frame.notna(), None)
    return [
        {str(name): _plain(value) for name, value in row.items()}
        for row in kept.to_dict("records")
    ]


def _plain(value: Any) -> Any:
    if hasattr(value, "to_pydatetime"):
        return value.to_pydatetime()
    return (
        value.item()
        if hasattr(value, "item") and not hasattr(value, "shape")
        else value
    )


def as_day(value: Any) -> date | None:
    """Return a day without a time; text as ISO 8601, None where it is no day."""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value).strip())
    except ValueError:
        return None


class Reader:
    """Reads the tables of one finished audit, each once.

    Attributes:
        warehouse: the finished audit database.
        trainee: code of the trainee a page is about; empty for a page about all.
        lab: code of the laboratory a page goes to; empty for a page about all.
    """

    warehouse: Warehouse
    trainee: str
    lab: str

    @cached_property
    def _tables(self) -> frozenset[str]:
        return frozenset(self.warehouse.tables())

    def _read(self, table: str, rest: str = "") -> list[Row]:
        """Return the rows of a table; none where the audit does not hold it."""
        if table not in self._tables:
            return []
        return rows_of(self.warehouse, f"select * from {table} {rest}")

    @cached_property
    def run(self) -> Row:
        """The run that made the audit."""
        return self._read("audit.run", "order by run_at desc limit 1")[0]

    @property
    def _cases(self) -> str:
        """Select the patients' cases of the cycle."""
        first, last = (as_day(self.run[name]) for name in ("cycle_from", "cycle_to"))
        after = f" and surgery_date >= date '{first}'" if first else ""
        before = f" and surgery_date <= date '{last}'" if last else ""
        return f"select * from measured.cases where setting = 'patient'{after}{before}"

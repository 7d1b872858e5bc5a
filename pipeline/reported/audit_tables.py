"""What the reports read: the tables of one audit, as rows of plain values."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any, TypeAlias, TypeVar

from pipeline.reported.wording import Words
from pipeline.warehouse import Warehouse

Row: TypeAlias = dict[str, Any]
Made = TypeVar("Made")


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


@dataclass
class AuditTables:
    """The tables of one audit; each is read once, when first asked for.

    Args:
        warehouse: the finished audit database.
        written_at: when the report is written.
        words: the words of the page.
        title: what the clinic calls its audit; empty for the page's own title.
        kept: what was made of it already, see `once`.
    """

    warehouse: Warehouse
    written_at: datetime
    words: Words = field(default_factory=Words)
    title: str = ""
    kept: dict[Any, Any] = field(default_factory=dict, repr=False)

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

    @cached_property
    def cases(self) -> list[Row]:
        """Patients' cases of the cycle in date order; those not operated yet last."""
        found = self._read(
            "measured.cases",
            "where setting = 'patient' order by surgery_date nulls last, case_key",
        )
        first, last = self.run["cycle_from"], self.run["cycle_to"]
        if first is None and last is None:
            return found
        return [case for case in found if _is_within(case["surgery_date"], first, last)]

    @cached_property
    def case_of(self) -> dict[str, Row]:
        """Cases of the cycle by their code."""
        return {case["case_key"]: case for case in self.cases}

    def _of_cases(self, rows: Iterable[Row]) -> list[Row]:
        return [row for row in rows if row["case_key"] in self.case_of]

    @cached_property
    def implants(self) -> list[Row]:
        """The one record of each implant of the pair that summaries read."""
        rest = "where is_preferred and part = 'pair' order by case_key, implant_key"
        return self._of_cases(self._read("measured.implants", rest))

    @cached_property
    def pairs(self) -> list[Row]:
        """The one record of each pair that summaries read."""
        rest = "where is_preferred order by case_key"
        return self._of_cases(self._read("measured.pairs", rest))

    @cached_property
    def harm(self) -> list[Row]:
        """What the treating clinician should hear of now, newest first."""
        rest = "order by is_resolved, event_date desc nulls last, case_key, kind"
        return self._read("summarised.harm", rest)

    @cached_property
    def completeness(self) -> list[Row]:
        """Cases at each stage of the workflow."""
        return self._read("summarised.completeness", "order by place_in_order")

    @cached_property
    def criteria(self) -> list[Row]:
        """The clinic's criteria and what was met."""
        return self._read("summarised.criteria")

    @cached_property
    def discuss(self) -> list[Row]:
        """Cases worth talking about."""
        return self._read("summarised.discuss")

    @cached_property
    def verdicts(self) -> list[Row]:
        """Primary measures against published figures."""
        return self._read(
            "summarised.verdicts", "order by n_patients desc, comparison_set"
        )

    @cached_property
    def accuracy(self) -> list[Row]:
        """All measures by group."""
        return self._read("summarised.accuracy")

    @cached_property
    def results(self) -> list[Row]:
        """What each check found."""
        return self._read("checked.results", "order by check_id")

    @cached_property
    def findings(self) -> list[Row]:
        """Findings by check and severity, counted; no text of a record is read."""
        return self._read_select(
            "select check_id, severity, reach, sheet, count(*) as count_findings,"
            " count(distinct row_id) as count_rows from checked.findings"
            " group by all order by all",
            needs="checked.findings",
        )

    @cached_property
    def held(self) -> list[Row]:
        """Rows set aside, with the checks that did it."""
        return self._read("checked.held", "order by sheet, row_id")

    @cached_property
    def fields_given(self) -> list[Row]:
        """How many rows give each field."""
        return self._read("staged.completeness")

    @cached_property
    def sources(self) -> list[Row]:
        """Files and sheets in use."""
        return self._read("audit.sources", "where status = 'in use' order by load_no")

    @cached_property
    def actions(self) -> list[Row]:
        """The clinic's list of actions."""
        return self._read("reference.actions")

    @cached_property
    def published(self) -> list[Row]:
        """Published figures."""
        return self._read("reference.published_accuracy")

    @cached_property
    def comparison_sets(self) -> list[Row]:
        """Named sets of published figures."""
        return self._read("reference.comparison_sets")

    def once(self, make: Callable[[AuditTables], Made]) -> Made:
        """Return what a function makes of this audit, made when first asked for."""
        if make not in self.kept:
            self.kept[make] = make(self)
        made: Made = self.kept[make]
        return made

    def _read_select(self, select: str, *, needs: str) -> list[Row]:
        return rows_of(self.warehouse, select) if needs in self._tables else []


def _is_within(day: Any, first: Any, last: Any) -> bool:
    days = [as_day(value) for value in (day, first, last)]
    if days[0] is None:
        return False
    return (days[1] is None or days[1] <= days[0]) and (
        days[2] is None or days[0] <= days[2]
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

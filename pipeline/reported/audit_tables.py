"""What the reports read: the tables of one audit, as rows of plain values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, TypeVar

from pipeline.reported.table_reader import MOST_CASES, Row, rows_of
from pipeline.reported.tables_of_accuracy import AccuracyTables
from pipeline.reported.tables_of_people import PeopleTables
from pipeline.reported.tables_of_records import RecordTables
from pipeline.reported.tables_of_years import YearsTables
from pipeline.reported.wording import Words
from pipeline.warehouse import Warehouse

Made = TypeVar("Made")


MOST_LISTED = 1000
"""Rows of harm or discussion on a page."""


@dataclass
class AuditTables(RecordTables, AccuracyTables, YearsTables, PeopleTables):
    """The tables of one audit; each is read once, when first asked for.

    Args:
        warehouse: the finished audit database.
        written_at: when the report is written.
        words: the words of the page.
        title: what the clinic calls its audit; empty for the page's own title.
        trainee: code of the trainee a page is about; empty for a page about all.
        lab: code of the laboratory a page goes to; empty for a page about all.
        kept: what was made of it already, see `once`.
    """

    warehouse: Warehouse
    written_at: datetime
    words: Words = field(default_factory=Words)
    title: str = ""
    trainee: str = ""
    lab: str = ""
    kept: dict[Any, Any] = field(default_factory=dict, repr=False)

    @cached_property
    def counts(self) -> Row:
        """Cases, patients and implants that count in this run, first and last surgery."""
        selects = f"""
            select
                (select count(*) from ({self._cases})) as cases,
                (select count(distinct patient_key) from ({self._cases})) as patients,
                (select count(*) from ({self._implants})) as implants,
                (select count(*) from ({self._pairs})) as pairs,
                (select min(surgery_date) from ({self._cases})) as first_day,
                (select max(surgery_date) from ({self._cases})) as last_day,
                (select count(*) from checked.held) as held,
                (select count(distinct case_key) from checked.held) as held_cases,
                (select count(*) from summarised.harm) as harm
        """
        return rows_of(self.warehouse, selects)[0]

    @property
    def _implants(self) -> str:
        """Select the one record of each implant of the pair that summaries read."""
        return (
            "select * from measured.implants where is_preferred and part = 'pair'"
            f" and case_key in (select case_key from ({self._cases}))"
        )

    @property
    def _pairs(self) -> str:
        """Select the one record of each pair that summaries read."""
        return (
            "select * from measured.pairs where is_preferred"
            f" and case_key in (select case_key from ({self._cases}))"
        )

    @cached_property
    def cases(self) -> list[Row]:
        """The latest cases in date order; those not operated yet last."""
        latest = f"{self._cases} order by surgery_date desc nulls last, case_key"
        return rows_of(
            self.warehouse,
            f"from ({latest} limit {MOST_CASES}) order by surgery_date nulls last, case_key",
        )

    @cached_property
    def case_of(self) -> dict[str, Row]:
        """The latest cases by their code."""
        return {case["case_key"]: case for case in self.cases}

    @cached_property
    def implants(self) -> list[Row]:
        """Implants of the latest cases."""
        return self._of_latest(self._implants, "implant_key")

    @cached_property
    def pairs(self) -> list[Row]:
        """Pairs of the latest cases."""
        return self._of_latest(self._pairs, "basis")

    def _of_latest(self, select: str, then: str) -> list[Row]:
        """Return the rows of the latest cases only, so that a page stays readable."""
        import pandas as pd

        latest = pd.DataFrame({"case_key": list(self.case_of)}, dtype=object)
        with self.warehouse.registered("latest_cases", latest):
            return rows_of(
                self.warehouse,
                f"from ({select}) where case_key in (select case_key from latest_cases)"
                f" order by case_key, {then}",
            )

    @cached_property
    def harm(self) -> list[Row]:
        """What the treating clinician should hear of now, newest first."""
        rest = "order by is_resolved, event_date desc nulls last, case_key, kind"
        return self._read("summarised.harm", f"{rest} limit {MOST_LISTED}")

    @cached_property
    def discuss(self) -> list[Row]:
        """Cases worth talking about, the furthest beyond its limit first."""
        return rows_of(
            self.warehouse,
            "select d.*, c.surgery_date from summarised.discuss as d"
            " left join measured.cases as c on d.case_key = c.case_key"
            " order by abs(d.value) / nullif(d.limit_value, 0) desc nulls last,"
            f" d.value desc, d.case_key, d.measure, d.side limit {MOST_LISTED}",
        )

    @cached_property
    def discuss_counts(self) -> dict[bool, int]:
        """How many cases are worth talking about; those changed on purpose by True."""
        found = rows_of(
            self.warehouse,
            "select is_deliberate_change, count(distinct case_key) as cases"
            " from summarised.discuss group by all",
        )
        return {bool(row["is_deliberate_change"]): row["cases"] for row in found}

    def once(self, make: Callable[[AuditTables], Made]) -> Made:
        """Return what a function makes of this audit, made when first asked for."""
        if make not in self.kept:
            self.kept[make] = make(self)
        made: Made = self.kept[make]
        return made

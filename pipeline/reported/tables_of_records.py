"""What was received, checked and put right, and what became of it."""

from __future__ import annotations

from functools import cached_property

from pipeline.reported.table_reader import Reader, Row, rows_of


class RecordTables(Reader):
    """What was received, checked and put right, and what became of it."""

    @cached_property
    def completeness(self) -> list[Row]:
        """Cases at each stage of the workflow."""
        return self._read("summarised.completeness", "order by place_in_order")

    @cached_property
    def treated(self) -> list[Row]:
        """The list of the treated from outside against the audit; none if not given."""
        return self._read("summarised.treated")

    @cached_property
    def results(self) -> list[Row]:
        """What each check found."""
        return self._read("checked.results", "order by check_id")

    @cached_property
    def noticed(self) -> list[Row]:
        """Findings that set nothing aside, by check; no text of a record is read."""
        return rows_of(
            self.warehouse,
            "select check_id, count(*) as count_rows from checked.findings"
            " where severity = 'warn' group by all order by count_rows desc, check_id",
        )

    @cached_property
    def held_by_check(self) -> list[Row]:
        """Rows set aside by the check that did it, the commonest first."""
        return rows_of(
            self.warehouse,
            "select check_id, count(distinct row_id) as count_rows"
            " from (select row_id, unnest(check_ids) as check_id from checked.held)"
            " group by all order by count_rows desc, check_id",
        )

    @cached_property
    def received(self) -> list[Row]:
        """What came, by sheet; files are counted, their names are not read."""
        return self._read("summarised.records_received")

    @cached_property
    def missing(self) -> list[Row]:
        """How many rows leave each field without a value, the most often left first."""
        rest = "order by share_missing desc, sheet, field"
        return self._read("summarised.missing_fields", rest)

    @cached_property
    def mended(self) -> list[Row]:
        """What was put right since the records came, by role."""
        rest = "order by count_changes desc, how"
        return self._read("summarised.mended", rest)

    @cached_property
    def fields_given(self) -> list[Row]:
        """How many rows give each field."""
        return self._read("staged.completeness")

    @cached_property
    def record_flow(self) -> list[Row]:
        """What became of every case and implant received."""
        rest = "order by place_in_order, first_check"
        return self._read("summarised.record_flow", rest)

    @cached_property
    def case_characteristics(self) -> list[Row]:
        """Who was treated and how, a characteristic and value at a time."""
        rest = "order by place_in_order, value in ('number', 'not recorded'), value"
        return self._read("summarised.case_characteristics", rest)

    @cached_property
    def implant_characteristics(self) -> list[Row]:
        """What was placed and how it was measured, as above."""
        rest = "order by place_in_order, value in ('number', 'not recorded'), value"
        return self._read("summarised.implant_characteristics", rest)

    @cached_property
    def repeatability(self) -> list[Row]:
        """How far repeat readings of one thing lie apart, whoever read."""
        rest = "where examiner = 'all' order by basis, achieved_source, quantity"
        return self._read("measured.repeatability", rest)

    @cached_property
    def superimposing_errors(self) -> list[Row]:
        """What superimposing adds, by kind of scan."""
        return self._read("summarised.superimposing_errors", "order by achieved_source")

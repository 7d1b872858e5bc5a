"""The years after delivery."""

from __future__ import annotations

from functools import cached_property

from pipeline.reported.table_reader import Reader, Row, rows_of

MOST_DENTURES = 60
"""Dentures drawn one by one, the latest ones."""


class YearsTables(Reader):
    """The years after delivery."""

    @cached_property
    def event_rates(self) -> dict[tuple[str, str, str], Row]:
        """Events per 100 denture-years by group, kind of attachment and period."""
        return {
            (row["event_group"], row["attachment"], row["period"]): row
            for row in self._read("summarised.event_rates")
        }

    @cached_property
    def association(self) -> list[Row]:
        """Rate ratios of trouble for a step of each angle."""
        return self._read("summarised.association", "order by measure, model desc")

    @cached_property
    def rates_by_cut(self) -> list[Row]:
        """Rates of trouble on both sides of the cuts in print."""
        return self._read("summarised.rates_by_cut", "order by key, side")

    @cached_property
    def mean_counts(self) -> list[Row]:
        """Mean number of events of a denture over the years."""
        rest = "order by event_group, attachment, years"
        return self._read("summarised.mean_cumulative_count", rest)

    @cached_property
    def first_events(self) -> list[Row]:
        """Share of dentures that had their first event, over the years."""
        rest = "order by event_group, attachment, curve, years"
        return self._read("summarised.first_event", rest)

    @cached_property
    def status(self) -> list[Row]:
        """What had become of the dentures after some years, all kinds together."""
        rest = "where attachment = 'all' and count_due > 0 order by years_after"
        return self._read("summarised.status", rest)

    @cached_property
    def chair_time(self) -> dict[str, Row]:
        """Minutes in the chair by kind of attachment."""
        return {row["attachment"]: row for row in self._read("summarised.chair_time")}

    @cached_property
    def recalls(self) -> Row:
        """How recalls are kept; empty where nothing is known."""
        found = self._read("summarised.recalls")
        return found[0] if found else {}

    @cached_property
    def dentures(self) -> list[Row]:
        """The latest dentures that were watched, the longest watched first."""
        return rows_of(
            self.warehouse,
            "from (select denture_key, case_key, attachment, start_date, exposure_years"
            " from measured.exposure where exposure_years > 0"
            f" and case_key in (select case_key from ({self._cases}))"
            f" order by start_date desc, denture_key limit {MOST_DENTURES})"
            " order by exposure_years desc, denture_key",
        )

    @cached_property
    def trouble(self) -> list[Row]:
        """Events that count as trouble, of the dentures of the page."""
        import pandas as pd

        keys = [row["denture_key"] for row in self.dentures]
        latest = pd.DataFrame({"denture_key": keys}, dtype=object)
        with self.warehouse.registered("latest_dentures", latest):
            return rows_of(
                self.warehouse,
                "select e.denture_key, e.case_key, e.event, e.event_class,"
                " e.event_date, e.years_after_delivery"
                " from measured.attachment_events as e"
                " inner join latest_dentures using (denture_key)"
                " where e.is_counted order by e.row_id, e.side",
            )

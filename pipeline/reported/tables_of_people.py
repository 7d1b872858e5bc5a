"""Trainees and laboratories, by code."""

from __future__ import annotations

from functools import cached_property

from pipeline.reported.table_reader import Reader, Row, rows_of


class PeopleTables(Reader):
    """Trainees and laboratories, by code."""

    @cached_property
    def trainee_exposure(self) -> list[Row]:
        """How many cases each trainee had; by code, never by figure."""
        rest = "order by setting desc, trainee_code"
        return self._of_trainee(self._read("summarised.trainee_exposure", rest))

    @cached_property
    def trainee_difficulty(self) -> dict[tuple[str, str, str], int]:
        """Own cases of each trainee and setting by the height of the jaw."""
        return {
            (row["trainee_code"], row["setting"], row["bone_height"]): row[
                "count_cases"
            ]
            for row in self._of_trainee(self._read("summarised.trainee_difficulty"))
        }

    @cached_property
    def trainee_requirements(self) -> list[Row]:
        """Cases had against the numbers the programme asks for."""
        rest = "order by trainee_code, requirement, required_role, guidance"
        return self._of_trainee(self._read("summarised.trainee_requirements", rest))

    @cached_property
    def own_trend(self) -> list[Row]:
        """What each own case of the trainee came to."""
        rest = "order by measure, setting, case_number, side"
        return self._of_trainee(self._read("summarised.own_trend", rest))

    @cached_property
    def competence(self) -> list[Row]:
        """The two running scores, in the order of the cases."""
        rest = "order by trainee_code, chart, case_number"
        return self._of_trainee(self._read("summarised.competence", rest))

    @cached_property
    def competence_limits(self) -> dict[str, Row]:
        """What the limit of each score does."""
        return {row["chart"]: row for row in self._read("summarised.competence_limits")}

    @cached_property
    def funnel(self) -> list[Row]:
        """Units against their common share, by kind and code."""
        return self._read("summarised.funnel", "order by kind, unit")

    @cached_property
    def shrunken(self) -> list[Row]:
        """Trainees' means, raw and drawn toward all, by measure and code."""
        return self._read("summarised.shrunken", "order by measure, trainee_code")

    @cached_property
    def learning(self) -> list[Row]:
        """What twice as many own cases go with, over all trainees."""
        return self._read("summarised.learning", "order by measure")

    def _of_trainee(self, rows: list[Row]) -> list[Row]:
        kept = self.trainee
        return [row for row in rows if not kept or row["trainee_code"] == kept]

    @cached_property
    def labs(self) -> list[str]:
        """Codes of those who made guides."""
        found = rows_of(
            self.warehouse,
            "select distinct lab_code from summarised.lab_guides order by lab_code",
        )
        return [row["lab_code"] for row in found]

    @cached_property
    def lab_guides(self) -> list[Row]:
        """Guides of the laboratory, the latest first."""
        rest = "order by made_date desc nulls last, guide_code"
        return self._of_lab("summarised.lab_guides", rest)

    @cached_property
    def lab_parts(self) -> list[Row]:
        """What each of its guides as made is off its plan."""
        return self._of_lab(
            "summarised.lab_parts", "order by guide_code, quantity, side"
        )

    @cached_property
    def lab_return(self) -> list[Row]:
        """How far its guides as made are off their plans."""
        return self._of_lab("summarised.lab_return", "")

    def _of_lab(self, table: str, rest: str) -> list[Row]:
        return [row for row in self._read(table, rest) if row["lab_code"] == self.lab]

    @cached_property
    def attribution(self) -> list[Row]:
        """Factors told apart two by two, by measure."""
        rest = "order by measure, factor, other_factor"
        return self._read("summarised.attribution", rest)

    @cached_property
    def competence_adjusted(self) -> list[Row]:
        """The score allowing for hard cases, in the order of the cases."""
        rest = "order by trainee_code, case_number"
        return self._read("summarised.competence_adjusted", rest)

    @cached_property
    def trainee_bands(self) -> dict[str, Row]:
        """Published bands that fit all own cases of the trainee, by measure."""
        rows = self._of_trainee(self._read("summarised.trainee_bands"))
        return {row["measure"]: row for row in rows}

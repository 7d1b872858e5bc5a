"""What the reports read: the tables of one audit, as rows of plain values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any, TypeAlias, TypeVar

from pipeline.reference import load
from pipeline.reported.wording import Words
from pipeline.warehouse import Warehouse

Row: TypeAlias = dict[str, Any]
Made = TypeVar("Made")

MOST_CASES = 1500
"""Cases that stand one by one on a page, the latest ones; tables of figures cover all."""

MOST_DENTURES = 60
"""Dentures drawn one by one, the latest ones."""

MOST_LISTED = 1000
"""Rows of harm or discussion on a page."""


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
    def _cases(self) -> str:
        """Select the patients' cases of the cycle."""
        first, last = (as_day(self.run[name]) for name in ("cycle_from", "cycle_to"))
        after = f" and surgery_date >= date '{first}'" if first else ""
        before = f" and surgery_date <= date '{last}'" if last else ""
        return f"select * from measured.cases where setting = 'patient'{after}{before}"

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
    def completeness(self) -> list[Row]:
        """Cases at each stage of the workflow."""
        return self._read("summarised.completeness", "order by place_in_order")

    @cached_property
    def treated(self) -> list[Row]:
        """The list of the treated from outside against the audit; none if not given."""
        return self._read("summarised.treated")

    @cached_property
    def criteria(self) -> list[Row]:
        """The clinic's criteria and what was met."""
        return self._read("summarised.criteria")

    @cached_property
    def cycle_change(self) -> list[Row]:
        """Criteria and means of this cycle against the last; none without one."""
        return self._read("summarised.cycle_change")

    @cached_property
    def control_chart(self) -> list[Row]:
        """The latest cases in date order with the limits of the control charts."""
        latest = f"qualify row_number() over (partition by measure order by case_number desc) <= {MOST_CASES}"
        return self._read(
            "summarised.control_chart", f"{latest} order by measure, case_number"
        )

    @cached_property
    def run_charts(self) -> dict[str, Row]:
        """The rules of the run chart by measure."""
        return {row["measure"]: row for row in self._read("summarised.run_chart")}

    @cached_property
    def around_actions(self) -> list[Row]:
        """Means before and after each action that was done."""
        return self._read("summarised.around_actions", "order by action_number")

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

    @cached_property
    def case_causes(self) -> dict[str, list[Row]]:
        """What the cases up for discussion are consistent with, the likeliest first."""
        found: dict[str, list[Row]] = {}
        rest = (
            "where case_key in (select case_key from summarised.discuss)"
            " order by case_key, rank"
        )
        for row in self._read("summarised.case_causes", rest):
            found.setdefault(row["case_key"], []).append(row)
        return found

    @cached_property
    def group_causes(self) -> list[Row]:
        """What the means of groups are consistent with, those that circulate."""
        circulated = {
            row["group_by"]
            for row in load.rows("cause_groups")
            if row["is_circulated"] == "yes"
        }
        rest = (
            "where said <> 'too few to say'"
            " order by group_by <> 'overall', group_by, group_value, rank"
        )
        rows = self._read("summarised.group_causes", rest)
        return [row for row in rows if row["group_by"] in circulated]

    @cached_property
    def play_seen(self) -> list[Row]:
        """How many cases are explained by play, are not, or cannot be told."""
        return rows_of(
            self.warehouse,
            "select said, count(*) as n from summarised.play_seen"
            " group by all order by n desc, said",
        )

    @cached_property
    def verdicts(self) -> list[Row]:
        """Primary measures against published figures."""
        return self._read(
            "summarised.verdicts", "order by n_patients desc, comparison_set"
        )

    @cached_property
    def published_matches(self) -> list[Row]:
        """Published figures against each comparison, the nearest first."""
        return self._read(
            "summarised.published_matches",
            "order by comparison_set, measure, count_misses, citation, key",
        )

    @cached_property
    def pooled_published(self) -> list[Row]:
        """Single studies of each comparison pooled, by REML first."""
        return self._read(
            "summarised.pooled_published",
            "order by comparison_set, measure, method desc",
        )

    @cached_property
    def accuracy(self) -> list[Row]:
        """All measures by group."""
        return self._read("summarised.accuracy")

    @cached_property
    def parallelism(self) -> list[Row]:
        """Parallelism kept, a quantity and state at a time."""
        rest = "order by quantity, attachment, limit_deg"
        return self._read("summarised.parallelism", rest)

    @cached_property
    def left_right(self) -> list[Row]:
        """Left less right within each case, by measure."""
        return self._read("summarised.left_right")

    @cached_property
    def wear(self) -> list[Row]:
        """Uses of the drill set and lot of the guide, where a case tells."""
        return self._read("summarised.wear_of_cases", "order by case_key")

    @cached_property
    def against_uses(self) -> list[Row]:
        """How the measures go with the uses of the drill set."""
        return self._read("summarised.against_uses")

    @cached_property
    def by_lot(self) -> list[Row]:
        """Means by lot of the guide's material."""
        return self._read("summarised.by_lot", "order by measure, material_lot")

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
    def parallel_pairs(self) -> list[Row]:
        """Each pair that counts with the leans of its implants."""
        return self._read("summarised.parallel_pairs", "order by case_key")

    @cached_property
    def room_kept(self) -> list[Row]:
        """In how many cases room and the line through both are kept."""
        return self._read("summarised.room_kept")

    @cached_property
    def film_checks(self) -> list[Row]:
        """How often films were looked at, and changed the plan."""
        return self._read("summarised.film_checks")

    @cached_property
    def film_foretold(self) -> list[Row]:
        """Whether the film of the plan foretold the result."""
        return self._read("summarised.film_foretold", "order by quantity")

    @cached_property
    def plans_kept(self) -> Row:
        """Plans on file before surgery; empty where nothing is known."""
        found = self._read("summarised.plans_kept")
        return found[0] if found else {}

    @cached_property
    def error_budget(self) -> list[Row]:
        """The parts of the scatter over all cases."""
        return self._read("summarised.error_budget", "where group_by = 'overall'")

    @cached_property
    def common_share(self) -> list[Row]:
        """What both implants have in common, over all cases."""
        return self._read("summarised.common_share", "where group_by = 'overall'")

    @cached_property
    def guide_slices(self) -> list[Row]:
        """How much of the scatter lay in the guide as made, where it was read."""
        return self._read("summarised.guide_slices", "order by quantity")

    @cached_property
    def bias(self) -> list[Row]:
        """Whole signed vectors against no bias."""
        return self._read("summarised.bias", "order by vector desc")

    @cached_property
    def influence(self) -> list[Row]:
        """What each mean would be without the case that moves it most."""
        return self._read("summarised.influence")

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
    def factor_effects(self) -> list[Row]:
        """What deviations go with, as ratios."""
        return self._read("summarised.factor_effects")

    @cached_property
    def factor_models(self) -> list[Row]:
        """How far each of those fits can be trusted."""
        return self._read("summarised.factor_models")

    @cached_property
    def equivalence(self) -> list[Row]:
        """Comparisons within a margin."""
        return self._read("summarised.equivalence")

    @cached_property
    def sample_size(self) -> list[Row]:
        """How many patients a wanted precision would take."""
        return self._read("summarised.sample_size")

    @cached_property
    def sensitivity(self) -> list[Row]:
        """Means of the errors under other choices of cases."""
        return self._read("summarised.sensitivity")

    @cached_property
    def repeatability(self) -> list[Row]:
        """How far repeat readings of one thing lie apart, whoever read."""
        rest = "where examiner = 'all' order by basis, achieved_source, quantity"
        return self._read("measured.repeatability", rest)

    @cached_property
    def superimposing_errors(self) -> list[Row]:
        """What superimposing adds, by kind of scan."""
        return self._read("summarised.superimposing_errors", "order by achieved_source")

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
    def trainee_bands(self) -> dict[str, Row]:
        """Published bands that fit all own cases of the trainee, by measure."""
        rows = self._of_trainee(self._read("summarised.trainee_bands"))
        return {row["measure"]: row for row in rows}

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
    def competence_adjusted(self) -> list[Row]:
        """The score allowing for hard cases, in the order of the cases."""
        rest = "order by trainee_code, case_number"
        return self._read("summarised.competence_adjusted", rest)

    @cached_property
    def attribution(self) -> list[Row]:
        """Factors told apart two by two, by measure."""
        rest = "order by measure, factor, other_factor"
        return self._read("summarised.attribution", rest)

    @cached_property
    def funnel(self) -> list[Row]:
        """Units against their common share, by kind and code."""
        return self._read("summarised.funnel", "order by kind, unit")

    @cached_property
    def centres(self) -> list[Row]:
        """Centres of a pooled audit over all their cases, by measure and code."""
        rest = "where group_by = 'overall' order by measure, centre_code"
        return self._read("summarised.centres", rest)

    @cached_property
    def centres_pooled(self) -> list[Row]:
        """The same together, by measure and way of pooling."""
        rest = "where group_by = 'overall' order by measure, method"
        return self._read("summarised.centres_pooled", rest)

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

    def once(self, make: Callable[[AuditTables], Made]) -> Made:
        """Return what a function makes of this audit, made when first asked for."""
        if make not in self.kept:
            self.kept[make] = make(self)
        made: Made = self.kept[make]
        return made


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

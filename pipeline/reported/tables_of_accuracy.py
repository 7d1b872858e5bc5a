"""How far from the plan, against what, and what it may come from."""

from __future__ import annotations

from functools import cached_property

from pipeline.reference import load
from pipeline.reported.table_reader import MOST_CASES, Reader, Row, rows_of


class AccuracyTables(Reader):
    """How far from the plan, against what, and what it may come from."""

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

"""The contents page: the six states, and the graph of tables found in them.

Importing this module imports the packages that make tables in Python, so that
:func:`pipeline.tables.all_tables` knows them all.
"""

from __future__ import annotations

from pipeline.checked import cell_signs as _cell_signs
from pipeline.checked import diagnoses as _diagnoses
from pipeline.checked import findings as _findings
from pipeline.checked import jaws as _jaws
from pipeline.checked import number_signs as _number_signs
from pipeline.checked import superimposing as _superimposing
from pipeline.checked import usable as _usable
from pipeline.measured import play as _play
from pipeline.measured import repeatability as _repeatability
from pipeline.staged import problems as _problems
from pipeline.summarised import accuracy as _accuracy
from pipeline.summarised import attribution as _attribution
from pipeline.summarised import bias as _bias
from pipeline.summarised import causes as _causes
from pipeline.summarised import centres as _centres
from pipeline.summarised import comparison as _comparison
from pipeline.summarised import competence as _competence
from pipeline.summarised import competence_adjusted as _competence_adjusted
from pipeline.summarised import control_charts as _control_charts
from pipeline.summarised import criteria as _criteria
from pipeline.summarised import cycle_change as _cycle_change
from pipeline.summarised import discussing as _discussing
from pipeline.summarised import equivalence as _equivalence
from pipeline.summarised import error_budget as _error_budget
from pipeline.summarised import event_rates as _event_rates
from pipeline.summarised import factor_effects as _factor_effects
from pipeline.summarised import film_foretold as _film_foretold
from pipeline.summarised import funnel as _funnel
from pipeline.summarised import group_causes as _group_causes
from pipeline.summarised import guide_slices as _guide_slices
from pipeline.summarised import influence as _influence
from pipeline.summarised import judged_cases as _judged_cases
from pipeline.summarised import lab_return as _lab_return
from pipeline.summarised import learning as _learning
from pipeline.summarised import left_right as _left_right
from pipeline.summarised import literature as _literature
from pipeline.summarised import parallelism as _parallelism
from pipeline.summarised import room_kept as _room_kept
from pipeline.summarised import sensitivity as _sensitivity
from pipeline.summarised import shrunken as _shrunken
from pipeline.summarised import wear as _wear
from pipeline.summarised import years_after as _years_after
from pipeline.tables import Table, all_tables, in_order

MADE_IN_PYTHON = (
    _problems,
    _jaws,
    _superimposing,
    _cell_signs,
    _number_signs,
    _findings,
    _diagnoses,
    _usable,
    _play,
    _repeatability,
    _accuracy,
    _centres,
    _criteria,
    _cycle_change,
    _control_charts,
    _comparison,
    _literature,
    _discussing,
    _event_rates,
    _error_budget,
    _guide_slices,
    _years_after,
    _bias,
    _causes,
    _group_causes,
    _influence,
    _judged_cases,
    _factor_effects,
    _equivalence,
    _competence,
    _competence_adjusted,
    _attribution,
    _funnel,
    _shrunken,
    _learning,
    _sensitivity,
    _parallelism,
    _room_kept,
    _film_foretold,
    _lab_return,
    _wear,
    _left_right,
)
"""Modules that make tables in Python."""


def known_tables() -> dict[str, Table]:
    """Return every table of an audit by name."""
    return all_tables()


def contents() -> list[tuple[str, str]]:
    """Return (table, what it reads) in the order the tables are made."""
    return [
        (table.name, ", ".join(sorted(table.reads)))
        for table in in_order(known_tables())
    ]

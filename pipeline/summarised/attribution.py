"""summarised.attribution: can operator, maker, supervisor, laboratory and guide be told apart.

Only a factor as a whole is looked at, never one person.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.crossed import crossed
from pipeline.statistics.factors import LEAST
from pipeline.summarised.values import Audited, Measure, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.attribution"
FACTORS: Final = ("operator", "supervisor", "maker", "lab", "guide")

PEOPLE: Final = """
select
    c.case_key, c.operator_code as operator, d.supervisor_code as supervisor,
    s.maker_code as maker, coalesce(s.lab_code, c.guide_lab_code) as lab,
    coalesce(g.guide_code, c.guide_code) as guide
from measured.cases as c
left join (
    select u.case_key, arg_max(u.supervisor_code, u.row_id) as supervisor_code
    from checked.usable_cases as u group by u.case_key
) as d on c.case_key = d.case_key
left join measured.guides_used as g on c.case_key = g.case_key
left join (
    select
        u.case_key, u.guide_code,
        arg_max(u.maker_code, u.row_id) as maker_code,
        arg_max(u.lab_code, u.row_id) as lab_code
    from checked.usable_guides as u group by u.case_key, u.guide_code
) as s on g.case_key = s.case_key and g.guide_code = s.guide_code
where c.setting = 'patient'
order by c.case_key"""


@makes(
    TABLE,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "measured.cases",
        "measured.guides_used",
        "checked.usable_cases",
        "checked.usable_guides",
    ),
)
def make_attribution(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.attribution. Grain: measure, factor, other_factor."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    people = warehouse.frame(PEOPLE)
    rows: list[dict[str, Any]] = []
    for measure in measures():
        if measure.is_error and measure.is_primary:
            rows += _rows(audited, measure, people)
    write_rows(warehouse, TABLE, rows)


def _rows(
    audited: Audited, measure: Measure, people: pd.DataFrame
) -> list[dict[str, Any]]:
    """Return a row for each pair of factors that are both known in some case."""
    values = audited.comparable(measure)
    kept = values.rows
    if measure.place == "implants":
        kept = kept[~kept["is_deliberate_change"].fillna(value=False).astype(bool)]
    means = kept.groupby("case_key")["value"].mean().rename("mean").reset_index()
    cases = means.merge(people, on="case_key")
    rows = []
    for one, other in combinations(FACTORS, 2):
        both = cases[cases[one].notna() & cases[other].notna()]
        if both.empty:
            continue
        found = crossed(
            np.log(np.maximum(both["mean"].to_numpy(dtype=np.float64), LEAST)),
            both[one].to_numpy(dtype=str),
            both[other].to_numpy(dtype=str),
        )
        row = {
            "measure": measure.measure,
            "sources": values.sources,
            "factor": one,
            "other_factor": other,
            "n_cases": found.n_cases,
            "n_levels": found.n_one,
            "n_other_levels": found.n_other,
            "answer": found.answer,
        }
        for name, share in (("share", found.one), ("other_share", found.other)):
            if share is not None:
                row |= {
                    f"{name}_low": share.low,
                    f"{name}_high": share.high,
                    f"{name}_by_chance": share.by_chance,
                }
        rows.append(row)
    return rows

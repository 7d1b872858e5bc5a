"""summarised.funnel: cases that miss a signed criterion, by trainee, laboratory, guide and centre.

Each unit stands against the common share with limits for its number of cases. Units come
in the order of their code: the table orders nobody by merit, and a place outside the
limits is where to look first at the records, not a judgement.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.funnel import Funnel, funnel
from pipeline.summarised.judged_cases import TABLE as JUDGED
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.funnel"
LIMITS: Final = ("low", "high", "far_low", "far_high")

UNITS: Final = f"""
with judged as (
    select
        j.has_failed,
        t.trainee_code,
        c.guide_lab_code,
        c.guide_method,
        c.centre_code
    from {JUDGED} as j
    inner join summarised.cases_used as c on j.case_key = c.case_key
    left join summarised.trainee_cases as t
        on j.case_key = t.case_key and t.case_number is not null
),
by_unit as (
    unpivot (
        select has_failed, trainee_code as trainee, guide_lab_code as laboratory,
            guide_method as guide_method, centre_code as centre
        from judged
    ) on trainee, laboratory, guide_method, centre into name kind value unit
)
select kind, unit, count(*) as n_cases, count(*) filter (has_failed) as n_failed
from by_unit
group by kind, unit
order by kind, unit"""
"""Cases of the cycle by unit; unpivot leaves out cases whose unit is not known."""


@makes(
    TABLE,
    reads=(JUDGED, "summarised.cases_used", "summarised.trainee_cases"),
)
def make_funnel(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.funnel. Grain: kind, unit."""
    units = warehouse.frame(UNITS)
    rows: list[dict[str, Any]] = []
    for kind, own in units.groupby("kind"):
        rows += _rows(str(kind), own)
    write_rows(warehouse, TABLE, rows)


def _rows(kind: str, own: pd.DataFrame) -> Iterator[dict[str, Any]]:
    found = funnel(own["n_failed"], own["n_cases"])
    shares = (own["n_failed"] / own["n_cases"]).to_numpy()
    for place, unit in enumerate(own.to_dict("records")):
        at = dict(
            zip(LIMITS, (_told(limit[place]) for limit in found.limits), strict=True)
        )
        yield {
            "kind": kind,
            "unit": unit["unit"],
            "n_cases": unit["n_cases"],
            "n_failed": unit["n_failed"],
            "share": float(shares[place]),
            "target": found.target,
            **at,
            "is_outside": _is_outside(found, place, float(shares[place])),
            "phi": found.phi,
            "is_widened": found.is_widened,
            "note": found.warning,
        }


def _told(limit: float) -> float | None:
    return None if np.isnan(limit) else float(limit)


def _is_outside(found: Funnel, place: int, share: float) -> bool | None:
    if found.target is None:
        return None
    low, high = found.limits[0][place], found.limits[1][place]
    return not low <= share <= high

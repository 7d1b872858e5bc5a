"""summarised.discuss: cases worth talking about, each with its figure, never a name.

A case is on the list when it misses a criterion the clinic has signed; with no signed
criterion, when it holds one of the largest values of a primary measure.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np

from pipeline.summarised.values import SOURCE, Audited, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE = "summarised.discuss"
LARGEST = 3
"""How many of the largest values are named where nothing is signed."""


@makes(
    TABLE,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.criteria",
    ),
)
def make_discuss(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.discuss. Grain: case, measure, side, reason."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    signed = warehouse.frame(
        "select * from reference.criteria where signed_by <> ''"
    ).to_dict("records")
    rows = list(_missed(audited, signed) if signed else _largest(audited))
    write_rows(warehouse, TABLE, rows)


def _missed(
    audited: Audited, signed: list[dict[Hashable, Any]]
) -> Iterator[dict[str, Any]]:
    known = {measure.measure: measure for measure in measures()}
    for criterion in signed:
        values = audited.all_sources(known[criterion["measure"]])
        limit = float(criterion["limit"])
        if criterion["group_by"] not in {"", "overall"}:
            values = values.having(criterion["group_by"], [criterion["group_value"]])
        beyond = values.where(np.abs(values.numbers) > limit)
        yield from _rows(beyond, f"beyond: {criterion['criterion']}", limit)


def _largest(audited: Audited) -> Iterator[dict[str, Any]]:
    for measure in measures():
        if measure.is_primary:
            values = audited.of(measure)
            largest = np.argsort(-values.numbers, kind="stable")[:LARGEST]
            shown = Values(measure, values.table, values.index[largest], values.sources)
            yield from _rows(shown, "among the largest of this audit", None)


def _rows(values: Values, reason: str, limit: float | None) -> Iterator[dict[str, Any]]:
    for row in values.rows.to_dict("records"):
        yield {
            "case_key": row["case_key"],
            "reason": reason,
            "measure": values.measure.measure,
            "side": row.get("side"),
            "value": row["value"],
            "limit_value": limit,
            "is_deliberate_change": bool(row.get("is_deliberate_change", False)),
            "sources": row[SOURCE],
        }

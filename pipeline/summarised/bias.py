"""summarised.bias: is there a systematic error, told on whole vectors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from pipeline.reference import load
from pipeline.statistics.bias import vector_bias
from pipeline.summarised.values import Audited, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.bias"


@makes(TABLE, reads=("summarised.implant_values", "summarised.pair_values"))
def make_bias(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.bias. Grain: vector."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    write_rows(warehouse, TABLE, list(_rows(audited)))


def _rows(audited: Audited) -> Iterator[dict[str, Any]]:
    known = {measure.measure: measure for measure in measures()}
    named = load.rows("bias_vectors")
    for vector in dict.fromkeys(row["vector"] for row in named):
        parts = [known[row["measure"]] for row in named if row["vector"] == vector]
        values = audited.of(parts[0])
        for part in parts[1:]:
            there = ~np.isnan(values.table.numbers(part.measure)[values.index])
            values = values.where(there)
        if values.is_empty:
            continue
        columns = [values.table.numbers(part.measure)[values.index] for part in parts]
        found = vector_bias(np.column_stack(columns), values.patients)
        yield {
            "vector": vector,
            "measures": ", ".join(part.measure for part in parts),
            "sources": values.sources,
            "n_patients": found.n_clusters,
            "n_implants": found.n_values,
            "size": float(np.linalg.norm(found.mean)),
            "unit": parts[0].unit,
            "t2": found.t2,
            "f": found.f,
            "p": found.p_value,
            "note": found.warning,
        }

"""summarised.judged_cases: did a case miss a criterion the clinic has signed.

A case fails when one of its implants, or its pair, misses a signed criterion; what departed
from the plan on purpose is not judged. Cases of all years and settings; who reads this table
chooses among them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pipeline.reference import load
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse, named

TABLE: Final = "summarised.judged_cases"


@makes(
    TABLE,
    reads=(
        "measured.cases",
        "measured.implants",
        "measured.pairs",
        "reference.criteria",
    ),
)
def make_judged_cases(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.judged_cases. Grain: case_key; only cases a signed criterion judges."""
    failed: dict[str, list[bool]] = {}
    signed = warehouse.frame("select * from reference.criteria where signed_by <> ''")
    for criterion in signed.to_dict("records"):
        for case_key, has_failed in _judged_by(warehouse, criterion):
            failed.setdefault(case_key, []).append(has_failed)
    rows = [
        {"case_key": key, "n_criteria": len(said), "has_failed": any(said)}
        for key, said in sorted(failed.items())
    ]
    write_rows(warehouse, TABLE, rows)


def _judged_by(
    warehouse: Warehouse, criterion: Mapping[Any, Any]
) -> list[tuple[str, bool]]:
    """Return (case, missed) for each case the criterion speaks of."""
    measure = next(
        row for row in load.rows("measures") if row["measure"] == criterion["measure"]
    )
    implants, column = measure["place"] == "implants", named(measure["measure"])
    source = f"measured.{named(measure['place'])}"
    kept = "m.is_preferred" + (
        " and m.part = 'pair' and not m.is_deliberate_change" if implants else ""
    )
    group_by, wanted = criterion["group_by"], criterion["group_value"]
    if group_by not in {"", "overall"}:
        kept += f" and {_group(warehouse, source, group_by)} = $group_value"
    else:
        wanted = ""
    return warehouse.run(
        f"select m.case_key, bool_or(abs(m.{column}) > $limit) from {source} as m"
        f" inner join measured.cases as c on m.case_key = c.case_key"
        f" where {kept} and m.{column} is not null and $group_value is not null"
        " group by m.case_key order by m.case_key",
        {"limit": float(criterion["limit"]), "group_value": wanted},
    )


def _group(warehouse: Warehouse, source: str, column: str) -> str:
    of_source = {name for name, _ in warehouse.columns(source)}
    return f"{'m' if column in of_source else 'c'}.{named(column)}"

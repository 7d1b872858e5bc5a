"""checked.usable_<sheet>: staged rows that are not set aside, set-aside cells empty.

The very same row from two files counts once. What is measured reads these and nothing
else of the staged sheets.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from pipeline.reference import load
from pipeline.staged.problems import staged_name
from pipeline.tables import makes
from pipeline.warehouse import Warehouse, named

NAMES = tuple(f"checked.usable_{sheet}" for sheet in load.sheets())


@makes(
    *NAMES,
    reads=(
        "checked.held",
        "checked.cells_set_aside",
        "checked.row_evidence",
        *(f"staged.{sheet}" for sheet in load.sheets()),
    ),
)
def make_usable(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make one view a sheet. Grain: row_id."""
    aside: dict[str, set[str]] = defaultdict(set)
    for sheet in load.sheets():
        for (field,) in warehouse.run(
            f"select distinct a.field from checked.cells_set_aside as a"
            f" inner join staged.{named(sheet)} as s on a.row_id = s.row_id"
        ):
            aside[sheet].add(field)
    for sheet in load.sheets():
        fields = [f for f in load.fields(sheet) if f.field in aside[sheet]]
        emptied = ", ".join(
            f"case when not list_contains(coalesce(a.fields, []), '{field.field}')"
            f" then s.{named(staged_name(field))} end as {named(staged_name(field))}"
            for field in fields
        )
        warehouse.run(
            f"""create or replace view checked.usable_{sheet} as
            select s.* {f"replace ({emptied})" if emptied else ""}
            from staged.{named(sheet)} as s
            anti join checked.held as h on s.row_id = h.row_id
            anti join (
                select row_id from checked.row_evidence where is_later_copy
            ) as c on s.row_id = c.row_id
            left join (
                select row_id, list(field) as fields
                from checked.cells_set_aside group by row_id
            ) as a on s.row_id = a.row_id"""
        )

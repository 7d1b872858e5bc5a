"""The rows of an export: one select a table, from the rows of shared_columns.csv."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.sharing.columns import FLAG, SharedColumn, exported, quasi_identifiers
from pipeline.sharing.fresh_codes import fresh_codes
from pipeline.warehouse import named

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.warehouse import Warehouse

FROM = {
    "cases": """summarised.cases_used as cases
        inner join summarised.cases_used as k on cases.case_key = k.case_key
        left join (
            select u.* from checked.usable_cases as u
            qualify row_number() over (partition by u.case_key order by u.row_id desc) = 1
        ) as usable_cases on cases.case_key = usable_cases.case_key""",
    "implants": """measured.implants as implants
        inner join summarised.cases_used as k on implants.case_key = k.case_key""",
    "pairs": """measured.pairs as pairs
        inner join summarised.cases_used as k on pairs.case_key = k.case_key""",
    "motions": """measured.common_motion as common_motion
        inner join summarised.cases_used as k on common_motion.case_key = k.case_key""",
    "dentures": """measured.exposure as exposure
        inner join summarised.cases_used as k on exposure.case_key = k.case_key""",
    "visits": """measured.denture_visits as denture_visits
        inner join measured.exposure as x on denture_visits.denture_key = x.denture_key
        inner join summarised.cases_used as k on x.case_key = k.case_key""",
    "events": """measured.attachment_events as attachment_events
        inner join summarised.cases_used as k on attachment_events.case_key = k.case_key""",
}
"""The rows of each exported table: those of the cases ``k`` that count in the run."""


@dataclass(frozen=True)
class Extract:
    """The tables of one export, ready to be written.

    Attributes:
        warehouse: the audit, with the fresh codes registered.
        codes: the fresh code of each key, by what it names.
        k: how many patients a group should have at least.
    """

    warehouse: Warehouse
    codes: dict[str, dict[str, str]]
    k: int

    def select(self, table: str) -> str:
        """Return the select of an exported table, in the order of its fresh codes."""
        columns = exported()[table]
        terms = [f"{column.expression()} as {named(column.name)}" for column in columns]
        inner = f"select {', '.join(terms)} from {FROM[table]} {_joins(table, columns)}"
        if table == "cases":
            inner = self._marked(inner)
        order = [column for column in columns if column.form == "fresh_code"]
        others = [column for column in columns if column.form != "fresh_code"]
        by = ", ".join(named(column.name) for column in (*order, *others))
        return f"select * from ({inner}) order by {by}"

    def _marked(self, cases: str) -> str:
        """Return the select of the cases with the mark of those in a small group."""
        names = list(map(named, quasi_identifiers()))
        same = " and ".join(f"c.{name} is not distinct from g.{name}" for name in names)
        return f"""with c as ({cases}),
            g as (
                select {", ".join(names)}, count(distinct patient_code) as n
                from c group by all
            )
            select c.*, g.n < {self.k} as {FLAG} from c inner join g on {same}"""

    def count(self, table: str) -> int:
        """Return the number of rows of an exported table."""
        return int(self.warehouse.value(f"select count(*) from ({self.select(table)})"))

    def frame(self, table: str) -> pd.DataFrame:
        """Return an exported table."""
        return self.warehouse.frame(self.select(table))


@contextmanager
def extracted(warehouse: Warehouse, k: int) -> Iterator[Extract]:
    """Draw the codes of an export and let its tables be selected for a while.

    Args:
        warehouse: the audit, read-only.
        k: how many patients a group should have at least.
    """
    import pandas as pd

    codes: dict[str, dict[str, str]] = {}
    with ExitStack() as stack:
        for kind, keys in _keys(warehouse).items():
            codes[kind] = fresh_codes(keys)
            frame = pd.DataFrame(list(codes[kind].items()), columns=["key", "code"])
            stack.enter_context(
                warehouse.registered(f"codes_{kind}", frame.astype("string"))
            )
        yield Extract(warehouse, codes, k)


def _coded(columns: tuple[SharedColumn, ...]) -> Iterator[tuple[SharedColumn, str]]:
    """Yield the columns that become a code, with their key in the audit as SQL."""
    for column in columns:
        if column.form == "fresh_code":
            own = f"{column.source.partition('.')[2]}.{named(column.column)}"
            # the two implants of every case are called left and right
            yield (
                column,
                f"k.case_key || ' ' || {own}" if column.code_of == "implant" else own,
            )


def _joins(table: str, columns: tuple[SharedColumn, ...]) -> str:
    return " ".join(
        f"left join codes_{column.code_of} as codes_{table}_{column.code_of}"
        f" on {key} = codes_{table}_{column.code_of}.key"
        for column, key in _coded(columns)
    )


def _keys(warehouse: Warehouse) -> dict[str, list[str]]:
    """Return the different keys of the exported rows, by what they name."""
    selects: dict[str, list[str]] = {}
    for table, columns in exported().items():
        for column, key in _coded(columns):
            selects.setdefault(column.code_of, []).append(
                f"select {key} as key from {FROM[table]}"
            )
    return {
        kind: [
            key
            for (key,) in warehouse.run(
                f"select distinct key from ({' union '.join(parts)}) where key is not null"
            )
        ]
        for kind, parts in selects.items()
    }

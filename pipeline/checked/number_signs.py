"""What the clinic's own numbers and names show, told without repeating any of them.

Numbers and names are turned into codes at the door, so a lost zero, a rounded number, a
gap in a series or one person spelled in two ways cannot be seen in the rows. The list
that leads back from code to number, on this machine only, is looked at while the checks
run; only codes and counts come out. Where the list is not at hand nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.errors import UserError
from pipeline.reference import load
from pipeline.tables import makes
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

FEWEST_IN_A_SERIES = 8
FULLEST_GAPS = 0.2
"""More absent than this share, and the numbers are no series (a practice's own numbers)."""

TITLES = r"\b(dr|prof|doc|mrs?|ms|miss|med|dent|dds|dmd)\b"

SHEETS = tuple(field.sheet for field in load.fields() if field.identity == "case")
PEOPLE = ("operator_code", "planned_by_code", "finished_by_code", "supervisor_code")

CASES_IN_USE = " union ".join(f"select case_key from staged.{name}" for name in SHEETS)
PEOPLE_IN_USE = " union ".join(f"select {name} from staged.cases" for name in PEOPLE)

SIGNS = f"""
with numbers as (
    select code, number, regexp_replace(number, '^0+', '') as without_zeros
    from codes_given where kind = 'case' and code in ({CASES_IN_USE})
),
names as (
    select code, regexp_replace(
        regexp_replace(lower(strip_accents(number)), '{TITLES}', ' ', 'g'), '[^a-z]', '', 'g'
    ) as letters
    from codes_given where kind = 'person' and code in ({PEOPLE_IN_USE})
),
shared as (
    select without_zeros from numbers
    where without_zeros <> '' group by without_zeros having count(*) > 1
)
select code, 'e_notation' as sign from numbers
where regexp_full_match(number, '\\d([.,]\\d+)?[eE]\\+?\\d{{1,3}}')
union all
select code, 'lost_zeros' from numbers where without_zeros in (from shared)
union all
select distinct one.code, 'name_alike' from names as one
inner join names as other
    on one.code <> other.code and one.letters <> '' and other.letters <> ''
    and (
        one.letters = other.letters
        or least(length(one.letters), length(other.letters)) >= 5
        and levenshtein(one.letters, other.letters) = 1
    )"""
"""Codes of case numbers and people, with what they show."""

SERIES = f"""
with numbered as (
    select distinct c.source,
        regexp_extract(g.number, '^(.*?)(\\d{{1,9}})$', 1) as series,
        cast(nullif(regexp_extract(g.number, '^(.*?)(\\d{{1,9}})$', 2), '') as bigint) as place
    from staged.cases as c
    inner join codes_given as g on c.case_key = g.code and g.kind = 'case'
),
counted as (
    select source, count(*) as count_numbers,
        max(place) - min(place) + 1 - count(*) as count_absent
    from numbered where place is not null group by source, series
)
select source, cast(sum(count_absent) as bigint) as count_absent from counted
where count_numbers >= {FEWEST_IN_A_SERIES}
    and count_absent <= {FULLEST_GAPS} * (count_absent + count_numbers)
group by source"""
"""Numbers absent between the first and the last of each series of case numbers."""


@makes(
    "checked.number_signs",
    "checked.number_series",
    reads=tuple(f"staged.{sheet}" for sheet in SHEETS),
)
def make_number_signs(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make checked.number_signs and number_series. Grain: code, sign; source."""
    codes = _codes(parameters)
    with warehouse.registered("codes_given", codes):
        warehouse.make("checked.number_signs", SIGNS)
        warehouse.make("checked.number_series", SERIES)


def _codes(parameters: Mapping[str, Any]) -> pd.DataFrame:
    """Return kind, code and number of cases and people; empty where not at hand."""
    import pandas as pd

    from pipeline.records.codes import Codebook

    given = parameters.get("codes_behind")
    if given is None and "settings" in parameters:
        try:
            given = Codebook(parameters["settings"]).list_of(("case", "person"))
        except UserError:  # the key lies on another machine, or the list is in use
            given = None
    if given is None:
        given = pd.DataFrame({"kind": [], "code": [], "number": []})
    return given.astype("str")

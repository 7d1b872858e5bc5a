"""What the clinic's own numbers and names show, told without repeating any of them.

Numbers and names are turned into codes at the door, so a lost zero, a rounded number, a
gap in a series or one person spelled in two ways cannot be seen in the rows. The list
that leads back from code to number, on this machine only, is looked at while the checks
run; only codes and counts come out. Where the list is not at hand nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipeline.errors import UserError
from pipeline.reference import load
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

FEWEST_IN_A_SERIES = 8
FULLEST_GAPS = 0.2
"""More absent than this share, and the numbers are no series (a practice's own numbers)."""

MOST_IN_A_SERIES = 100_000
"""Nobody looks for the two numbers absent among more."""

TITLES = r"\b(dr|prof|doc|mrs?|ms|miss|med|dent|dds|dmd)\b"

SHEETS = tuple(field.sheet for field in load.fields() if field.identity == "case")
PEOPLE = ("operator_code", "planned_by_code", "finished_by_code", "supervisor_code")

PAIRS = f"""
with numbers as (
    select code, number from codes where kind = 'case'
),
padded as (
    select code, ltrim(number, '0') as digits from numbers
    where starts_with(number, '0') and ltrim(number, '0') <> ''
),
alike as (
    select code, digits from padded
    union
    select code, number from numbers where number in (select digits from padded)
),
names as (
    select code, regexp_replace(
        regexp_replace(lower(strip_accents(number)), '{TITLES}', ' ', 'g'), '[^a-z]', '', 'g'
    ) as letters
    from codes where kind = 'person'
)
select 'e_notation' as sign, code, code as other from numbers
where regexp_full_match(number, '\\d([.,]\\d+)?[eE]\\+?\\d{{1,3}}')
union all
select 'lost_zeros', one.code, two.code from alike as one
inner join alike as two on one.digits = two.digits and one.code <> two.code
union all
select 'name_alike', one.code, two.code from names as one
inner join names as two
    on one.code <> two.code and one.letters <> '' and two.letters <> ''
    and (
        one.letters = two.letters
        or least(length(one.letters), length(two.letters)) >= 5
        and levenshtein(one.letters, two.letters) = 1
    )"""
"""Codes whose numbers or names show something, each with the one it is like."""

IN_USE = " union ".join(
    [f"select case_key as code from staged.{name}" for name in SHEETS]
    + [f"select {name} from staged.cases" for name in PEOPLE]
)

SIGNS = f"""
with in_use as ({IN_USE})
select distinct pairs.code, pairs.sign from pairs_given as pairs
where pairs.code in (from in_use) and pairs.other in (from in_use)"""
"""Of these pairs, those whose both codes are of this audit."""

NUMBERS = "select code, number from codes where kind = 'case'"

SERIES = f"""
with numbered as (
    select distinct c.source,
        regexp_extract(g.number, '^(.*?)(\\d{{1,9}})$', 1) as series,
        cast(nullif(regexp_extract(g.number, '^(.*?)(\\d{{1,9}})$', 2), '') as bigint) as place
    from staged.cases as c
    inner join numbers_given as g on c.case_key = g.code
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


MADE_HERE = ("checked.number_signs", "checked.number_series")


@makes(
    *MADE_HERE,
    reads=tuple(f"staged.{sheet}" for sheet in SHEETS),
)
def make_number_signs(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make checked.number_signs and number_series. Grain: code, sign; source.

    A frozen run brings what they were, since the list may lie on another machine.
    """
    if kept := parameters.get("kept_signs"):
        for table in MADE_HERE:
            write_rows(warehouse, table, kept[table])
        return
    is_small = warehouse.value("select count(*) from staged.cases") <= MOST_IN_A_SERIES
    pairs, numbers = _answers(parameters, (PAIRS, NUMBERS if is_small else ""))
    pairs = pairs.reindex(columns=["sign", "code", "other"]).astype("str")
    numbers = numbers.reindex(columns=["code", "number"]).astype("str")
    with (
        warehouse.registered("pairs_given", pairs),
        warehouse.registered("numbers_given", numbers),
    ):
        warehouse.make("checked.number_signs", SIGNS)
        warehouse.make("checked.number_series", SERIES)


def _answers(
    parameters: Mapping[str, Any], selects: Sequence[str]
) -> list[pd.DataFrame]:
    """Ask the list of codes; empty answers where it is not at hand."""
    import pandas as pd

    from pipeline.records.codes import Codebook

    ask = parameters.get("ask_codes")
    if ask is None and "settings" in parameters:
        try:
            ask = Codebook(parameters["settings"]).answer
        except UserError:  # the key lies on another machine
            ask = None
    found = []
    for select in selects:
        try:
            found.append(ask(select) if ask and select else pd.DataFrame())
        except UserError:  # the list is in use by another program
            found.append(pd.DataFrame())
    return found

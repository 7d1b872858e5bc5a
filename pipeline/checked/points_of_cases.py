"""The two implants of each case whose geometry is set aside, as points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipeline.geometry.plausible import Pairs
from pipeline.geometry.registration import Floats
from pipeline.warehouse import quoted

if TYPE_CHECKING:
    import pandas as pd

SIDES = ("left", "right")
STATES = ("planned", "achieved")
ENDS = ("entry", "apex")
AXES = "xyz"


def select_cases(check_ids: Sequence[str]) -> str:
    """Return the select of the cases with findings of these checks, a row each.

    Of several readings of a case the one with most findings is taken, then the first;
    the result stands in the plan's coordinates where its scan was superimposed. The
    lengths on the labels are only given where the points are those of the label.
    ``$most`` is the largest number of cases.
    """
    row_ids = ", ".join(
        f"any_value(o.row_id) filter (o.side = '{side}') as {side}_row_id"
        for side in SIDES
    )
    points = ", ".join(
        f"any_value({name}) filter (o.side = '{side}') as {side}_{name}"
        for side in SIDES
        for name in (*names_of_points(), "planned_label", "placed_label")
    )
    motion = ", ".join(f"any_value(g.{name}) as {name}" for name in _motion())
    return f"""
        with serious as (
            select case_key, row_id, finding_id from checked.findings
            where case_key is not null
                and check_id in ({", ".join(map(quoted, check_ids))})
        ),
        cases_found as (
            select case_key, list(finding_id order by finding_id) as finding_ids
            from serious group by case_key order by case_key limit $most
        ),
        rows_found as (
            select row_id, count(*) as count_findings
            from serious where row_id is not null group by row_id
        ),
        implants as (
            select i.row_id, i.case_key, i.side,
                i.tooth similar to '[12][1-8]' as is_upper_tooth, coalesce(i.scan, '1') as scan,
                p.is_superimposed,
                p.is_superimposed or coalesce(i.achieved_frame, 'plan') = 'plan'
                    as is_one_frame,
                {_of_implant()},
                coalesce(r.count_findings, 0) as count_findings,
                concat_ws('|', coalesce(i.scan, '1'), coalesce(i.achieved_source, ''),
                    coalesce(i.examiner_code, ''), coalesce(i.reading, 1)) as reading
            from staged.implants as i
            inner join cases_found as c on i.case_key = c.case_key
            inner join checked.poses as p on i.row_id = p.row_id
            left join rows_found as r on i.row_id = r.row_id
            where coalesce(i.part, 'pair') = 'pair' and i.side in ('left', 'right')
        ),
        readings as (
            select case_key, reading, min(row_id) as first_row,
                sum(count_findings) as count_findings
            from implants group by case_key, reading
            qualify row_number() over (
                partition by case_key order by sum(count_findings) desc, min(row_id)
            ) = 1
        ),
        of_side as (
            select i.* from implants as i
            inner join readings as d
                on i.case_key = d.case_key and i.reading = d.reading
            qualify row_number() over (
                partition by i.case_key, i.side order by i.row_id
            ) = 1
        ),
        jaws as (
            select case_key, coalesce(min(jaw), 'lower') as jaw
            from staged.cases group by case_key
        )
        select o.case_key, any_value(c.finding_ids) as finding_ids,
            coalesce(any_value(j.jaw) = 'lower', not coalesce(bool_or(o.is_upper_tooth), false))
                as is_lower,
            bool_and(o.is_one_frame) as is_one_frame, {row_ids}, {motion}, {points}
        from of_side as o
        inner join cases_found as c on o.case_key = c.case_key
        left join jaws as j on o.case_key = j.case_key
        left join checked.registrations as g
            on o.is_superimposed and o.case_key = g.case_key and o.scan = g.scan
        group by o.case_key order by o.case_key"""


def pairs_of(cases: pd.DataFrame) -> Pairs:
    """Return the rows of :func:`select_cases` as points."""
    planned, achieved = (
        _array(cases, [f"{side}_{name}" for side in SIDES for name in names], 2, 2, 3)
        for names in (names_of_points("planned"), names_of_points("achieved"))
    )
    planned_label, placed_label = (
        _array(cases, [f"{side}_{name}_label" for side in SIDES], 2)
        for name in ("planned", "placed")
    )
    return Pairs(
        planned,
        achieved,
        planned_label,
        placed_label,
        is_lower=cases["is_lower"].to_numpy(bool),
        is_one_frame=cases["is_one_frame"].to_numpy(bool),
        rotation=_array(cases, _motion()[:9], 3, 3),
        shift=_array(cases, _motion()[9:], 3),
    )


def _array(cases: pd.DataFrame, columns: list[str], *shape: int) -> Floats:
    values = cases[columns].to_numpy(dtype=np.float64, na_value=np.nan)
    found: Floats = values.reshape(len(cases), *shape)
    return found


def names_of_points(*states: str) -> list[str]:
    """Return the names of the coordinates, entry before apex."""
    return [
        f"{state}_{end}_{axis}_mm"
        for state in states or STATES
        for end in ENDS
        for axis in AXES
    ]


def _motion() -> list[str]:
    """Return the columns of the motion that a superimposition moved a result by."""
    turns = [f"rotation_{row}{column}" for row in AXES for column in AXES]
    return [*turns, *(f"shift_{axis}_mm" for axis in AXES)]


def _of_implant() -> str:
    """Return SQL for the points and labels of one implant."""
    values = [f"i.{name}" for name in names_of_points("planned")]
    for axis in AXES:
        entry, apex = f"achieved_entry_{axis}_mm", f"achieved_apex_{axis}_mm"
        along = f"coalesce(p.achieved_length_mm * p.achieved_axis_{axis}, 0)"
        values += [
            f"p.{entry}",
            f"if(p.is_superimposed, p.{entry} + {along}, i.{apex}) as {apex}",
        ]
    labels = {
        "planned": "i.planned_length_mm",
        "placed": "coalesce(i.placed_length_mm, i.planned_length_mm)",
    }
    for (name, length), state in zip(labels.items(), STATES, strict=True):
        values.append(
            f"if(coalesce(i.{state}_reference, 'platform') = 'platform', {length}, null)"
            f" as {name}_label"
        )
    return ", ".join(values)

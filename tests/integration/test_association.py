"""Trouble set against angles in a clinic of 24 dentures, with what was planted in it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.reference import load
from pipeline.summarised.association import association_rows, cut_rows
from pipeline.summarised.follow_up import FollowUp
from pipeline.warehouse import Warehouse

GROUPS = [row["event_group"] for row in load.rows("event_groups")]
PERIODS = ["years_settling_in", "years_0_12", "years_12_60", "years_60_on"]


def rows_of(
    make, n=24, seed=3, *, angle=None, kinds=("stud",), rate=0.9, has_lean=True
):
    """Rows made from invented dentures; trouble grows by 1.5 for every 5 degrees."""
    draw = np.random.default_rng(seed)
    angles = draw.gamma(2, 4, n) if angle is None else np.full(n, angle)
    leans = draw.normal(0, 7, n)
    years = draw.uniform(1.5, 4.5, n)
    counts = draw.poisson(rate * years * 1.5 ** (angles / 5))
    dentures = pd.DataFrame(
        {
            "place": range(n),
            "patient_place": range(n),
            "attachment": [kinds[k % len(kinds)] for k in range(n)],
            "exposure_years": years + 0.08,
            PERIODS[0]: 0.08,
            PERIODS[1]: 0.92,
            PERIODS[2]: years - 0.92,
            PERIODS[3]: 0.0,
        }
    )
    known = pd.DataFrame(
        {
            "place": range(n),
            "insert_grade": "soft",
            "achieved_angle_deg": angles,
            "angle_source": "coordinates, scan_body",
            "lean_forward_deg": leans if has_lean else np.nan,
            "lean_source": "coordinates, scan_body" if has_lean else None,
        }
    )
    events = pd.DataFrame({"place": np.repeat(np.arange(n), counts)})
    events["row_id"] = range(len(events))
    with Warehouse() as warehouse:
        warehouse.run("create schema if not exists summarised")
        cast = "* exclude (lean_source), lean_source::varchar as lean_source"
        warehouse.make_from_frame("summarised.dentures_used", dentures)
        warehouse.make_from_frame("summarised.denture_angles", known, cast)
        warehouse.make_from_frame(
            "summarised.events_used",
            events,
            "*, 'attachment' as event_group, '12-60' as period, null::varchar as side,"
            " 1.5 as years_after_delivery",
        )
        return counts.sum(), list(make(FollowUp(warehouse)))


def by_model(rows):
    return {(row["measure"], row["model"]): row for row in rows}


def test_what_was_planted_lies_in_the_interval_and_the_events_are_all_counted():
    total, rows = rows_of(association_rows)
    found = by_model(rows)[("achieved_angle_deg", "alone")]
    assert found["count_events"] == total
    assert found["ratio_low"] <= 1.5 <= found["ratio_high"]
    assert found["ratio_low"] > 1
    assert found["note"] is None
    lean = by_model(rows)[("lean_forward_deg", "adjusted")]
    assert lean["held_alike"] == "achieved_angle_deg"
    assert lean["ratio_low"] < 1 < lean["ratio_high"]


def test_the_other_angle_and_the_kind_are_held_alike_where_events_carry_it():
    _, rows = rows_of(association_rows, kinds=("stud", "ball", "bar"))
    found = by_model(rows)[("achieved_angle_deg", "adjusted")]
    assert found["held_alike"] == "lean_forward_deg|attachment"
    _, rows = rows_of(association_rows, kinds=("stud", "ball", "bar"), has_lean=False)
    found = by_model(rows)[("achieved_angle_deg", "adjusted")]
    assert found["held_alike"] == "attachment"


def test_few_events_carry_the_angle_alone_and_are_called_exploratory():
    total, rows = rows_of(association_rows, rate=0.12, kinds=("stud", "ball"))
    assert 10 <= total < 20
    assert [row["model"] for row in rows] == ["alone", "alone"]
    assert rows[0]["note"] == f"Exploratory: {total} events, fewer than 50."


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"rate": 0.01}, "Too few to say:"),
        ({"n": 6}, "Too few to say: 6 patients."),
        ({"angle": 3.0}, "Cannot be said: it is the same in all."),
    ],
    ids=["events", "patients", "no variation"],
)
def test_a_refusal_stands_in_the_row_with_its_reason(changed, said):
    _, rows = rows_of(association_rows, **changed)
    found = by_model(rows)[("achieved_angle_deg", "alone")]
    assert found["rate_ratio"] is None
    assert found["note"].startswith(said)


def test_the_two_sides_of_a_printed_cut_add_up_to_all_dentures_and_events():
    total, rows = rows_of(cut_rows)
    keys = {row["key"] for row in rows}
    cuts = load.rows("attachment_angles_published")
    assert keys == {row["key"] for row in cuts if row["cut_deg"]}
    for key in keys:
        sides = [row for row in rows if row["key"] == key]
        assert sum(row["count_dentures"] for row in sides) == 24
        assert sum(row["count_events"] for row in sides) == total


def test_films_and_pairs_with_one_lean_stay_out_of_the_angles():
    """By hand: the least forward lean of two; a film, and one lean alone, give none."""
    from pipeline import tables

    pairs = pd.DataFrame(
        [("a", "coordinates", "scan_body", 7.0), ("b", "films", "panoramic", 9.0)],
        columns=["case_key", "basis", "achieved_source", "achieved_angle_deg"],
    )
    leans = [("a", -3.0), ("a", 5.0), ("b", 2.0)]
    implants = pd.DataFrame(leans, columns=["case_key", "achieved_sagittal_tilt_deg"])
    dentures = pd.DataFrame({"case_key": ["a", "a", "b"], "place": [0, 1, 2]})
    dentures["denture_key"] = ["a-1", "a-2", "b-1"]
    order = pd.DataFrame(list(load.rows("source_order")))
    with Warehouse() as warehouse:
        for schema in ("summarised", "reference"):
            warehouse.run(f"create schema if not exists {schema}")
        warehouse.make_from_frame("reference.source_order", order)
        warehouse.make_from_frame("summarised.pair_values", pairs)
        source = "*, 'coordinates' as basis, 'scan_body' as achieved_source"
        warehouse.make_from_frame("summarised.implant_values", implants, source)
        grade = "*, ' Soft' as insert_grade"
        warehouse.make_from_frame("summarised.dentures_used", dentures, grade)
        table = tables.all_tables()["summarised.denture_angles"]
        table.make(warehouse, {})
        found = warehouse.frame(
            "select * from summarised.denture_angles order by place"
        )
    assert list(found["denture_key"]) == ["a-1", "a-2", "b-1"]
    assert list(found["achieved_angle_deg"][:2]) == [7.0, 7.0]
    assert list(found["lean_forward_deg"][:2]) == [-3.0, -3.0]
    assert found.loc[2, ["achieved_angle_deg", "lean_forward_deg"]].isna().all()
    assert set(found["insert_grade"]) == {"soft"}

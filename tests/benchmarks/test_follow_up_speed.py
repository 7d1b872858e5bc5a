"""A million events of the years after take less than twenty seconds."""

from __future__ import annotations

from datetime import date
from time import perf_counter

from pipeline import stages
from pipeline.reference import load
from pipeline.tables import in_order
from pipeline.warehouse import Warehouse

COUNT_CASES = 100_000
EVENTS_A_CASE = 10
REFERENCE = ("events", "event_groups", "follow_up_periods", "source_order")
MADE = (
    "measured.dentures",
    "measured.denture_events",
    "measured.denture_visits",
    "measured.denture_days_seen",
    "measured.exposure",
    "measured.attachment_events",
    "summarised.dentures_used",
    "summarised.events_used",
    "summarised.denture_angles",
    "summarised.event_rates",
    "summarised.status",
)


def _invented(warehouse: Warehouse) -> None:
    """Make what the tables read: cases watched for up to eight years."""
    import pandas as pd

    for name in REFERENCE:
        frame = pd.DataFrame(list(load.rows(name)))
        warehouse.make_from_frame(f"reference.{name}", frame)
    warehouse.make(
        "checked.usable_cases",
        f"""select i as row_id, 'c' || i as case_key, 'p' || i as patient_key,
            'patient' as setting, date '2015-01-01' + (i % 700)::int as delivery_date,
            null::date as last_observed_date, 'active' as exit_status,
            ['stud', 'ball', 'bar', 'magnet'][1 + i % 4] as attachment,
            null::varchar as insert_grade
        from range({COUNT_CASES}) as t (i)""",
    )
    warehouse.make(
        "checked.usable_dentures",
        """select row_id, case_key, 1 as denture_no, delivery_date, attachment,
            insert_grade, null::date as end_date, null::varchar as end_reason
        from checked.usable_cases where row_id % 2 = 0""",
    )
    warehouse.make(
        "checked.usable_visits",
        """select row_id * 20 + k as row_id, case_key, delivery_date + (k * 180)::int
            as visit_date, true as attended, true as planned_visit, 20.0 as minutes,
            null::int as denture_no
        from checked.usable_cases, range(1, 17) as t (k)""",
    )
    warehouse.make(
        "checked.usable_events",
        f"""select c.row_id * {EVENTS_A_CASE} + k as row_id, case_key,
            delivery_date + (hash(c.row_id * 16 + k) % 2800)::int as event_date,
            ['insert_renewed', 'sore_spot', 'screw_loose', 'relined'][1 + k % 4] as event,
            ['left', 'right', 'both'][1 + k % 3] as side, 'wear' as reason,
            null::int as denture_no, 'recall' as found_at, null::date as resolved_date
        from checked.usable_cases as c, range({EVENTS_A_CASE}) as t (k)""",
    )
    warehouse.make("summarised.cases_used", "select * from checked.usable_cases")
    warehouse.make(
        "summarised.pair_values",
        """select case_key, 'coordinates' as basis, 'cbct' as achieved_source,
            (hash(row_id) % 200) / 10 as achieved_angle_deg
        from checked.usable_cases""",
    )
    warehouse.make(
        "summarised.implant_values",
        """select case_key, 'coordinates' as basis, 'cbct' as achieved_source,
            (hash(row_id * 2 + k) % 300) / 10 - 15 as achieved_sagittal_tilt_deg
        from checked.usable_cases, range(2) as t (k)""",
    )


def test_a_million_events_take_less_than_twenty_seconds() -> None:
    parameters = {"settling_in_days": 30.0, "run_date": date(2026, 1, 1)}
    known = stages.known_tables()
    with Warehouse() as warehouse:
        _invented(warehouse)
        start = perf_counter()
        for table in in_order({name: known[name] for name in MADE}):
            table.make(warehouse, parameters)
        seconds = perf_counter() - start
        count = warehouse.value("select count(*) from measured.attachment_events")
        assert count >= COUNT_CASES * EVENTS_A_CASE
    assert seconds < 20

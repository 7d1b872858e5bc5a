"""Faults of cells, numbers, people and places: what spreadsheets and hands do to them."""

from __future__ import annotations

from tests.benchmarks.fault_kinds import Draws, kind, later, number, pick
from tests.benchmarks.fault_records import Cells, Records

MEASURED = {
    "coordinates": ("implants", "achieved_entry_x_mm", "achieved_apex_y_mm"),
    "ready": ("deviations", "entry_3d_mm", "angle_deg"),
    "cast": ("cast_readings", "midline_mm", "crest_offset_mm"),
    "pair": ("pair_readings", "value", "value"),
}
"""By shape: the sheet of measured figures and two of its fields."""

DAYS = {"cases": "surgery_date", "visits": "visit_date", "events": "event_date"}
HOW_MANY = ("one cell", "two cells", "one cell in every row")


def measured(records: Records, shape: str) -> list[Cells]:
    return records[MEASURED[shape][0]]


def rewrite(records: Records, shape: str, strength: int, how: object) -> None:
    """Write one figure, two figures or one of every row in another way."""
    sheet, first, second = MEASURED[shape]
    rows = [cells for cells in records[sheet] if first in cells]
    targets = [(rows[0], first)]
    if strength == 1:
        targets.append((rows[-1], second))
    if strength == 2:
        targets = [(cells, first) for cells in rows]
    for cells, name in targets:
        cells[name] = how(cells.get(name, "1.2"))  # type: ignore[operator]


def a_cell(
    name: str, checks: str, how: object, shapes: str = "coordinates ready cast pair"
) -> None:
    """Register one way to write a figure, in every shape that has figures."""
    for shape in shapes.split():
        # the shape is bound now; the function runs later
        def plant(
            records: Records, strength: int, _: Draws, shape: str = shape
        ) -> None:
            rewrite(records, shape, strength, how)

        kind(f"{name}_{shape}", shape, "hold", HOW_MANY, checks)(plant)


def with_point(text: str) -> str:
    return text if "." in text else f"{text}.0"


a_cell(
    "decimal_comma", "*-other-decimal-sign", lambda t: with_point(t).replace(".", ",")
)
a_cell("number_became_day", "*-became-day", lambda _: "8-Jul")
a_cell("unit_in_cell", "*-unit-written *-other-unit", lambda t: f"{t} mm")
a_cell("less_than", "*-qualified", lambda t: f"<{t}")
a_cell("range", "*-qualified", lambda t: f"{t.lstrip('-')}-9")
a_cell("words", "*-not-a-number *-qualified", lambda t: f"{t} or so")
a_cell(
    "count_of_days", "*-day-number", lambda _: "45846", "coordinates ready cast pair"
)


def _percent(text: str) -> str:
    return f"{text} %"


a_cell("percent_in_cell", "*-other-unit *-unit-written", _percent, "ready")


@kind(
    "stray_characters",
    "ready",
    "warn",
    ("a space that does not break", "a typeset minus sign", "both"),
    "deviations-stray-characters",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = records["deviations"][0]
    if strength in (0, 2):
        cells["angle_deg"] += "\u00a0"
    if strength in (1, 2):
        cells["depth_mm"] = "\u2212" + cells["depth_mm"].lstrip("-")


DATE_FORMS = ("02-04-2025", "2.4.25", "4/2/2025 2:30 PM")


@kind(
    "day_order_unclear",
    "coordinates",
    "hold",
    DATE_FORMS,
    "cases-not-a-day",
)
def _(records: Records, strength: int, _: Draws) -> None:
    records["cases"][0]["surgery_date"] = DATE_FORMS[strength]


@kind(
    "day_as_number",
    "coordinates",
    "hold",
    ("in the cases sheet", "in the implants sheet", "in both"),
    "*-serial-day",
)
def _(records: Records, strength: int, _: Draws) -> None:
    if strength in (0, 2):
        records["cases"][0]["surgery_date"] = "45846"
    if strength in (1, 2):
        records["implants"][0]["measured_date"] = "45900.0"


EVENT_WORDS = ("ring changed", "rubber lost", "Insert Renewed!")


@kind(
    "own_words_for_events",
    "follow_up",
    "hold",
    ("one event", "two events", "every event"),
    "events-not-a-code",
)
def _(records: Records, strength: int, _: Draws) -> None:
    rows = records["events"]
    for place, cells in enumerate(rows[: (1, 2, len(rows))[strength]]):
        cells["event"] = EVENT_WORDS[place % 3]


NOTES = (
    "call Mrs Quillmere on 0555 210 4477",
    "born 14.3.1951, see letter",
    r"picture in C:\Users\front desk\lip.jpg",
)


@kind(
    "identifier_in_note",
    "follow_up",
    "hold",
    ("name and telephone", "birth date", "path of a picture"),
    "events-identifier-in-text",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    pick(records["events"], draws)["note"] = NOTES[strength]


@kind(
    "required_cell_empty",
    "cast",
    "stop",
    ("one side", "one state", "one case number"),
    "cast-readings-required-missing",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    pick(records["cast_readings"], draws)[("side", "state", "case_id")[strength]] = ""


@kind(
    "merged_case_cells",
    "coordinates",
    "stop",
    ("every second row", "two of three rows", "all but the first row of the file"),
    "implants-required-missing implants-without-case",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    rows = [cells for records in file for cells in records["implants"]]
    for place, cells in enumerate(rows):
        if place % (2, 3, len(rows))[strength] > 0:
            cells["case_id"] = ""


SHEETS = {"coordinates": "implants", "ready": "deviations", "cast": "cast_readings"}
TWICE = ("word for word", "one figure a little off", "every figure a little off")


def enter_twice(shape: str) -> None:
    sheet = SHEETS[shape]

    def plant(records: Records, strength: int, draws: Draws) -> None:
        rows = records[sheet]
        again = dict(rows[0])
        figures = [
            name
            for name in again
            if name.endswith(("_mm", "_deg"))
            and "length" not in name
            and "resolution" not in name
        ]
        for name in figures[: (0, 1, len(figures))[strength]]:
            again[name] = repr(round(number(again, name) + 0.01, 3))
        rows.insert(1, again)

    kind(f"entered_twice_{shape}", shape, "hold", TWICE, "*-key-twice")(plant)


for _shape in SHEETS:
    enter_twice(_shape)


@kind(
    "implant_alone",
    "coordinates",
    "warn",
    ("the left one is missing", "the right one is missing", "ready figures besides"),
    "case-implant-alone",
)
def _(records: Records, strength: int, _: Draws) -> None:
    gone = ("left", "right", "left")[strength]
    rows = [cells for cells in records["implants"] if cells["side"] != gone]
    records["implants"] = rows


SITES = (("13", "23"), ("14", "24"), ("12", "22"))


@kind(
    "upper_tooth_numbers",
    "ready",
    "hold",
    ("13 and 23", "14 and 24", "12 and 22"),
    "deviations-tooth-in-other-jaw",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["deviations"]:
        cells["tooth"] = SITES[strength][cells["side"] == "left"]


AMERICAN = (("22", "27"), ("23", "26"), ("24", "25"))


@kind(
    "american_tooth_numbers",
    "ready",
    "hold",
    ("22 and 27", "23 and 26", "24 and 25"),
    "case-us-numbers",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["deviations"]:
        cells["tooth"] = AMERICAN[strength][cells.pop("side") == "right"]


@kind(
    "quadrant_lost",
    "ready",
    "stop",
    ("3 and 3", "2 and 2", "canine and canine"),
    "deviations-site-missing",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["deviations"]:
        cells["tooth"] = ("3", "2", "canine")[strength]
        cells.pop("side")


@kind(
    "number_against_side",
    "coordinates",
    "stop",
    ("the left implant", "the right implant", "both"),
    "implants-tooth-on-other-side",
)
def _(records: Records, strength: int, _: Draws) -> None:
    wanted = (("left",), ("right",), ("left", "right"))[strength]
    for cells in records["implants"]:
        if cells["side"] in wanted:
            cells["tooth"] = "43" if cells["side"] == "left" else "33"


@kind(
    "both_on_one_side",
    "ready",
    "hold",
    ("32 and 33", "31 and 33", "33 and 35"),
    "case-both-on-one-side",
)
def _(records: Records, strength: int, _: Draws) -> None:
    teeth = (("32", "33"), ("31", "33"), ("33", "35"))[strength]
    for cells, tooth in zip(records["deviations"], teeth, strict=True):
        cells["tooth"], cells["side"] = tooth, "left"


def both_numbers(records: Records, first: str, second: str) -> None:
    """Give the case another number, and add its cases row again under a second."""
    for rows in records.values():
        for cells in rows:
            cells["case_id"] = first
    records["cases"].append({**records["cases"][0], "case_id": second})


@kind(
    "one_jaw_under_two_numbers",
    "coordinates",
    "hold",
    ("all else the same", "another operator", "another plan date"),
    "cases-same-patient-same-day",
)
def _(records: Records, strength: int, _: Draws) -> None:
    first = records["cases"][0]
    first["patient_id"] = f"person {first['case_id']}"
    both_numbers(records, first["case_id"], first["case_id"] + " again")
    second = records["cases"][1]
    if strength == 1:
        second["operator"] = "Hasperly"
    if strength == 2:
        second["plan_date"] = later(second["plan_date"], -3)


@kind(
    "second_surgery_as_new_case",
    "coordinates",
    "warn",
    ("2 months later", "6 months later", "a year later"),
    "cases-second-surgery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    first = records["cases"][0]
    first["patient_id"] = f"person {first['case_id']}"
    both_numbers(records, first["case_id"], first["case_id"] + " later")
    second = records["cases"][1]
    for name in ("surgery_date", "delivery_date", "last_observed_date", "logged_date"):
        second.pop(name, None)
    day = later(first["surgery_date"], (60, 180, 180)[strength])
    second["surgery_date"] = day


@kind(
    "number_rounded",
    "coordinates",
    "stop",
    ("1.2E+11", "1,2E+11", "4E+09"),
    "case-number-rounded",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    digits = int(draws.integers(10**6, 10**7))
    text = (f"1.{digits}E+11", f"1,{digits}E+11", f"4.{digits}E+09")[strength]
    both_numbers(records, text, text)
    records["cases"].pop()


@kind(
    "leading_zeros_lost",
    "coordinates",
    "hold",
    ("one zero", "two zeros", "four zeros"),
    "case-number-short-of-zeros",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    digits = str(int(draws.integers(10**8, 10**9)))
    for rows in records.values():
        for cells in rows:
            cells["case_id"] = digits
    records["cases"][0]["case_id"] = ("0", "00", "0000")[strength] + digits


@kind(
    "case_numbers_absent",
    "coordinates",
    "warn",
    ("1 of 12", "2 of 12", "2 of 12, side by side"),
    "cases-numbers-absent",
    is_of_file=True,
)
def _(file: list[Records], strength: int, draws: Draws) -> None:
    series = f"S{int(draws.integers(10**7, 10**8))}-"
    gone = ((4,), (4, 8), (5, 6))[strength]
    del file[12:]
    for place, records in enumerate(file):
        for rows in records.values():
            for cells in rows:
                cells["case_id"] = f"{series}{place + 1}"
    for place in sorted(gone, reverse=True):
        del file[place]


NAMES = (
    ("Quarrowe", "Dr. Quarrowe"),
    ("Fennimoss", "Fennimos"),
    ("Tormiddle", "TORMIDDEL"),
)


@kind(
    "one_person_two_spellings",
    "coordinates",
    "warn",
    ("a title", "a letter dropped", "two letters exchanged"),
    "cases-names-alike",
    is_of_file=True,
    why_unseen=(
        "",
        "",
        "two letters exchanged are two changes; brothers differ by less",
    ),
)
def _(file: list[Records], strength: int, draws: Draws) -> None:
    own = "".join(chr(97 + int(n)) for n in draws.integers(0, 26, 6))
    for place, records in enumerate(file):
        records["cases"][0]["operator"] = f"{NAMES[strength][place % 2]}{own}"


@kind(
    "logged_late",
    "coordinates",
    "warn",
    ("95 days", "200 days", "400 days"),
    "cases-logged-late",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = records["cases"][0]
    cells["surgery_date"] = "2024-03-11"
    cells["plan_date"] = "2024-02-12"
    for name in ("delivery_date", "last_observed_date", "film_check_date"):
        cells.pop(name, None)
    cells["logged_date"] = later("2024-03-11", (95, 200, 400)[strength])

"""The same 20 cases, written the way different people keep them.

Each shape is a sheet as its clinic has it and the layout that maps it. ``OURS`` is the
same content under our own headings.
"""

import io
from dataclasses import dataclass, field

import numpy as np
import openpyxl

COUNT_CASES = 20
GUIDE_WORDS = {"resin lab": "surveyor", "printed (office)": "printed"}
TEETH = {"left": "33", "right": "43"}
STATES, POINTS, AXES = ("planned", "achieved"), ("entry", "apex"), "xyz"


@dataclass(frozen=True)
class Case:
    """One treated jaw: its case list entry and its two implants, read twice."""

    number: str
    day: str
    guide: str
    rows: list[dict[str, float | str]] = field(default_factory=list)


@dataclass(frozen=True)
class Shape:
    """A sheet of someone else's and the layout for it.

    Attributes:
        name: of the file, without folder.
        content: of the file.
        layout: TOML.
        answers: for the points a proposal must leave to a person, beside what all
            leave: words of the question -> the answer.
    """

    name: str
    content: bytes
    layout: str
    answers: dict[str, str] = field(default_factory=dict)


def point(state: str, place: str, axis: str) -> str:
    return f"{state}_{place}_{axis}_mm"


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)


def _cases() -> list[Case]:
    rng = np.random.default_rng(20)
    cases = []
    for number in range(1, COUNT_CASES + 1):
        guide = list(GUIDE_WORDS)[number % 2]
        case = Case(
            f"K{number:03}", f"2025-{1 + number % 12:02}-{number + 3:02}", guide
        )
        for side, sign in (("left", 1), ("right", -1)):
            plan_entry = np.array([sign * rng.uniform(7, 12), -22, 14]) + rng.normal(
                0, 0.8, 3
            )
            plan_axis = _unit(
                np.array([sign * 0.04, 0.08, -1]) + rng.normal(0, 0.03, 3)
            )
            length = rng.choice([10.0, 11.5])
            true_entry = plan_entry + rng.normal(0, 0.9, 3)
            true_axis = _unit(plan_axis + rng.normal(0, 0.05, 3))
            for reading in (1, 2):
                row: dict[str, float | str] = {
                    "case_id": case.number, "side": side, "tooth": TEETH[side],
                    "reading": str(reading),
                }  # fmt: skip
                entry = true_entry + rng.normal(0, 0.04, 3)
                for state, start, axis in (
                    ("planned", plan_entry, plan_axis),
                    ("achieved", entry, true_axis),
                ):
                    for place, at in (
                        ("entry", start),
                        ("apex", start + length * axis),
                    ):
                        for name, value in zip(AXES, at.tolist(), strict=True):
                            row[point(state, place, name)] = round(value, 2)
                case.rows.append(row)
        cases.append(case)
    return cases


CASES = _cases()
IMPLANTS = [row for case in CASES for row in case.rows]
COORDINATES = [point(s, p, a) for s in STATES for p in POINTS for a in AXES]


def text(rows: list[list[object]], delimiter: str = ",") -> bytes:
    return "".join(delimiter.join(map(str, row)) + "\r\n" for row in rows).encode()


def workbook(
    tabs: dict[str, list[list[object]]], merges: dict[str, list[str]]
) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tabs.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([None if value == "" else value for value in row])
        for merged in merges.get(name, []):
            sheet.merge_cells(merged)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ours() -> dict[str, bytes]:
    """The 20 cases under our own headings."""
    implants = [
        ["case_id", "side", "tooth", "reading", "achieved_source", *COORDINATES]
    ]
    implants += [
        [row["case_id"], row["side"], row["tooth"], row["reading"], "cbct"]
        + [row[name] for name in COORDINATES]
        for row in IMPLANTS
    ]
    cases = [["case_id", "surgery_date", "guide_method"]]
    cases += [[case.number, case.day, GUIDE_WORDS[case.guide]] for case in CASES]
    return {"implants.csv": text(implants), "cases.csv": text(cases)}


GUIDE = (
    'guide_method = { heading = "Guide made by", words = '
    '{ "resin lab" = "surveyor", "printed (office)" = "printed" } }'
)


def cases_block(day: str, guide: str = GUIDE, case: str = "Case") -> str:
    return f"""
[[rows]]
sheet = "cases"
distinct = true
[rows.fields]
case_id = "{case}"
surgery_date = {day}
{guide}
"""


def coordinate_lines(heading: str, extra: str = "") -> str:
    """Lines such as planned_entry_x_mm = { heading = "plan entry x" }."""
    words = {"planned": "plan", "achieved": "actual"}
    return "\n".join(
        f'{point(s, p, a)} = {{ heading = "'
        + heading.format(state=words[s], point=p, axis=a)
        + f'"{extra} }}'
        for s in STATES
        for p in POINTS
        for a in AXES
    )


def long_headings(heading: str) -> list[str]:
    words = {"planned": "plan", "achieved": "actual"}
    return [
        heading.format(state=words[s], point=p, axis=a)
        for s in STATES
        for p in POINTS
        for a in AXES
    ]


def long_rows(
    site: dict[str, str], day, figure=lambda value: value
) -> list[list[object]]:
    """Case, site, reading, day, guide and coordinates, a row an implant and reading."""
    return [
        [case.number, site[str(row["side"])], row["reading"], day(case.day), case.guide]
        + [figure(row[name]) for name in COORDINATES]
        for case in CASES
        for row in case.rows
    ]


def iso(day: str) -> str:
    return day


def day_first(day: str) -> str:
    year, month, number = day.split("-")
    return f"{int(number)}.{int(month)}.{year}"


def month_first(day: str) -> str:
    year, month, number = day.split("-")
    return f"{int(month)}/{int(number)}/{year} 2:30 PM"


LONG_HEAD = ["Case", "Site", "Reading", "Surgery date", "Guide made by"]


def long_layout(
    heading: str, *, tooth: str, day: str, extra: str = "", top: str = ""
) -> str:
    first = heading.format(state="plan", point="entry", axis="x")
    return f"""
needs = ["Case", "Site", "{first}"]
{top}
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = {tooth}
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{coordinate_lines(heading, extra)}
{cases_block(day)}"""


def wide() -> Shape:
    """One row a case and reading; a group of columns for 33 and one for 43."""
    heading = "{tooth} {state} {point} {axis} (mm)"
    head = ["Case", "Reading", "Surgery date", "Guide made by"]
    for tooth in TEETH.values():
        head += long_headings(heading.replace("{tooth}", tooth))
    rows: list[list[object]] = [list(head)]
    for case in CASES:
        for reading in ("1", "2"):
            row: list[object] = [case.number, reading, case.day, case.guide]
            for side in TEETH:
                of_side = next(
                    r
                    for r in case.rows
                    if r["side"] == side and r["reading"] == reading
                )
                row += [of_side[name] for name in COORDINATES]
            rows.append(row)
    layout = f"""
needs = ["Case", "33 plan entry x (mm)", "43 plan entry x (mm)"]
[[rows]]
sheet = "implants"
each = [{{ "<site>" = "33", tooth = "33" }}, {{ "<site>" = "43", tooth = "43" }}]
[rows.fields]
case_id = "Case"
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{coordinate_lines("<site> {state} {point} {axis} (mm)")}
{cases_block('"Surgery date"')}"""
    return Shape("wide.csv", text(rows), layout)


def long() -> Shape:
    """A row an implant, headings of their own, sites as LL3 and LR3."""
    heading = "{state} {point} {axis}"
    rows = [LONG_HEAD + long_headings(heading)]
    rows += long_rows({"left": "LL3", "right": "LR3"}, iso)
    layout = long_layout(
        heading,
        tooth='{ heading = "Site", notation = "quadrant" }',
        day='"Surgery date"',
    )
    return Shape("long.csv", text(rows), layout)


def comma() -> Shape:
    """Decimal commas, semicolons, days as 4.3.2025."""
    heading = "{state} {point} {axis} mm"
    rows = [LONG_HEAD + long_headings(heading)]
    rows += long_rows(TEETH, day_first, lambda value: str(value).replace(".", ","))
    layout = long_layout(
        heading,
        tooth='"Site"',
        day='{ heading = "Surgery date", date_order = "d.m.y" }',
        top='decimal_sign = ","',
    )
    return Shape("comma.csv", text(rows, ";"), layout)


def universal() -> Shape:
    """Universal tooth numbers 22 and 27, days as 3/4/2025 with a time."""
    heading = "{state} {point} {axis} mm"
    rows = [LONG_HEAD + long_headings(heading)]
    rows += long_rows({"left": "22", "right": "27"}, month_first)
    layout = long_layout(
        heading,
        tooth='{ heading = "Site", notation = "universal" }',
        day='{ heading = "Surgery date", date_order = "m/d/y" }',
    )
    return Shape(
        "universal.csv", text(rows), layout, {"22/27 in 'Site' read as": "universal"}
    )


def ras() -> Shape:
    """Coordinates that grow to the right and forward."""
    heading = "{state} {point} {axis} mm"
    rows: list[list[object]] = [LONG_HEAD + long_headings(heading)]
    for row in long_rows(TEETH, iso):
        turned = [
            -float(value) if name[-4] in "xy" else value
            for name, value in zip(COORDINATES, row[5:], strict=True)
        ]
        rows.append(row[:5] + turned)
    layout = long_layout(
        heading, tooth='"Site"', day='"Surgery date"', top='axes = "RAS"'
    )
    return Shape(
        "ras.csv", text(rows), layout, {"do the coordinates grow as RAS": "RAS"}
    )


def cm() -> Shape:
    """Centimetres, said in the headings."""
    heading = "{state} {point} {axis} [cm]"
    rows = [LONG_HEAD + long_headings(heading)]
    rows += long_rows(TEETH, iso, lambda value: f"{float(value) / 10:.3f}")
    layout = long_layout(
        heading, tooth='"Site"', day='"Surgery date"', extra=', unit = "cm"'
    )
    return Shape("cm.csv", text(rows), layout)


def two_header_rows() -> Shape:
    """A workbook: titles merged over their columns, case merged down, a row of means."""
    top: list[object] = ["Implant positions of the clinic"]
    first = ["Case", "Site", "Reading", "Surgery date", "Guide made by"]
    second = [""] * 5
    merges = ["A2:A3", "B2:B3", "C2:C3", "D2:D3", "E2:E3"]
    words = {"planned": "Plan", "achieved": "Actual"}
    for number, (state, place) in enumerate((s, p) for s in STATES for p in POINTS):
        first += [f"{words[state]} {place}", "", ""]
        second += list(AXES)
        start, end = (
            openpyxl.utils.get_column_letter(6 + 3 * number + n) for n in (0, 2)
        )
        merges.append(f"{start}2:{end}2")
    body: list[list[object]] = [
        [int(v) if v in {"33", "43", "1", "2"} else v for v in row]
        for row in long_rows(TEETH, iso)
    ]
    for number in range(0, len(body), 4):
        for place in (0, 3, 4):
            for below in (1, 2, 3):
                body[number + below][place] = ""
            letter = openpyxl.utils.get_column_letter(place + 1)
            merges.append(f"{letter}{number + 4}:{letter}{number + 7}")
    means: list[object] = ["Mean", "", "", "", ""]
    means += [round(float(np.mean([r[n] for r in IMPLANTS])), 2) for n in COORDINATES]
    layout = f"""
needs = ["Case", "Site", "Plan entry x"]
header_rows = 2
fill_down = ["Case", "Surgery date", "Guide made by"]
[[skip]]
heading = "Case"
pattern = "mean"
why = "totals"
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{coordinate_lines("{state} {point} {axis}")}
{cases_block('"Surgery date"')}"""
    content = workbook({"Positions": [top, first, second, *body, means]},
                       {"Positions": merges})  # fmt: skip
    return Shape("two_header_rows.xlsx", content, layout, {"filled down": "yes"})


def tabs_to_join() -> Shape:
    """A workbook: the plan in one tab, the result in a second, the cases in a third."""
    plan: list[list[object]] = [
        ["Case", "Site", *long_headings("{state} {point} {axis}")[:6]]
    ]
    result: list[list[object]] = [
        ["Case", "Site", "Reading", *long_headings("{state} {point} {axis}")[6:]]
    ]
    for row in IMPLANTS:
        if row["reading"] == "1":
            plan.append(
                [row["case_id"], int(row["tooth"])] + [row[n] for n in COORDINATES[:6]]
            )
        result.append(
            [row["case_id"], int(row["tooth"]), int(row["reading"])]
            + [row[n] for n in COORDINATES[6:]]
        )
    patients = [["Case", "Surgery date", "Guide made by"]]
    patients += [[case.number, case.day, case.guide] for case in CASES]
    lines = coordinate_lines("{state} {point} {axis}").replace('"plan ', '"Plan: plan ')
    cases = cases_block(
        '"Patients: Surgery date"', GUIDE.replace('"Guide', '"Patients: Guide')
    )
    layout = f"""
needs = ["Case", "Site", "actual entry x"]
tab = "Result"
[[join]]
tab = "Plan"
on = ["Case", "Site"]
[[join]]
tab = "Patients"
on = ["Case"]
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{lines}
{cases}"""
    content = workbook({"Plan": plan, "Result": result, "Patients": patients}, {})
    return Shape("tabs_to_join.xlsx", content, layout)


def readings() -> Shape:
    """Both readings in one row, beside each other."""
    head = ["Case", "Site", "Surgery date", "Guide made by"]
    head += long_headings("{state} {point} {axis}")[:6]
    for number in (1, 2):
        head += [
            f"{name} reading {number}"
            for name in long_headings("{state} {point} {axis}")[6:]
        ]
    rows: list[list[object]] = [list(head)]
    for case in CASES:
        for side, tooth in TEETH.items():
            first, second = (row for row in case.rows if row["side"] == side)
            rows.append(
                [case.number, tooth, case.day, case.guide]
                + [first[n] for n in COORDINATES]
                + [second[n] for n in COORDINATES[6:]]
            )
    lines = coordinate_lines("{state} {point} {axis}").split("\n")
    lines = lines[:6] + [line.replace('" }', ' reading <n>" }') for line in lines[6:]]
    fields = "\n".join(lines)
    layout = f"""
needs = ["Case", "Site", "actual entry x reading 1", "actual entry x reading 2"]
[[rows]]
sheet = "implants"
each = [{{ "<n>" = "1", reading = "1" }}, {{ "<n>" = "2", reading = "2" }}]
[rows.fields]
case_id = "Case"
tooth = "Site"
achieved_source = {{ always = "cbct" }}
{fields}
{cases_block('"Surgery date"')}"""
    return Shape("readings.csv", text(rows), layout)


def plan_and_result_rows() -> Shape:
    """A row for the plan and rows for the results below it, told apart by a column."""
    names = [f"{p} {a}" for p in POINTS for a in AXES]
    rows: list[list[object]] = [
        ["Case", "Site", "State", "Reading", "Surgery date", "Guide made by", *names]
    ]
    for case in CASES:
        for side, tooth in TEETH.items():
            of_side = [row for row in case.rows if row["side"] == side]
            head = [case.number, tooth]
            tail = [case.day, case.guide]
            rows.append(
                [*head, "planned", "", *tail] + [of_side[0][n] for n in COORDINATES[:6]]
            )
            rows += [
                [*head, "placed", row["reading"], *tail]
                + [row[n] for n in COORDINATES[6:]]
                for row in of_side
            ]
    lines = "\n".join(
        f'{point(s, p, a)} = "{"plan: " if s == "planned" else ""}{p} {a}"'
        for s in STATES
        for p in POINTS
        for a in AXES
    )
    layout = f"""
needs = ["Case", "Site", "State", "entry x"]
[[join]]
name = "plan"
on = ["Case", "Site"]
only = {{ heading = "State", pattern = "planned" }}
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{lines}
{cases_block('"Surgery date"')}"""
    return Shape("plan_and_result_rows.csv", text(rows), layout)


def other_columns() -> Shape:
    """Columns in another order: forward, up, left; units in the cells."""
    order = (("forward", "y", -1), ("up", "z", 1), ("left", "x", 1))
    words = {"planned": "plan", "achieved": "actual"}
    head = [
        f"{words[s]} {p} {name}" for s in STATES for p in POINTS for name, _, _ in order
    ]
    rows: list[list[object]] = [LONG_HEAD + head]
    for case in CASES:
        for row in case.rows:
            figures = [
                f"{sign * float(row[point(s, p, axis)])} mm"
                for s in STATES
                for p in POINTS
                for _, axis, sign in order
            ]
            rows.append(
                [
                    case.number,
                    row["tooth"],
                    row["reading"],
                    case.day,
                    case.guide,
                    *figures,
                ]
            )
    lines = "\n".join(
        f'{point(s, p, ours)} = "{words[s]} {p} {name}"'
        for s in STATES
        for p in POINTS
        for ours, (name, _, _) in zip(AXES, order, strict=True)
    )
    layout = f"""
needs = ["Case", "Site", "plan entry forward"]
axes = "ASL"
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
reading = "Reading"
achieved_source = {{ always = "cbct" }}
{lines}
{cases_block('"Surgery date"')}"""
    return Shape(
        "other_columns.csv", text(rows), layout, {"do the coordinates grow as": "ASL"}
    )


SHAPES = [
    wide(), long(), comma(), universal(), ras(), cm(), two_header_rows(), tabs_to_join(),
    readings(), plan_and_result_rows(), other_columns(),
]  # fmt: skip

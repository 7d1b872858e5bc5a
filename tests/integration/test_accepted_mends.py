"""Every kind of mend, accepted, gives back what the audit without the fault measures.

The faults are planted in the text of the cells, apart from the geometry that finds them:
cells exchanged, signs turned, figures divided, frames named the wrong way round.
"""

from decimal import Decimal

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.deciding import accept
from pipeline.records.codes import Codebook
from tests.audits import audit_of, implants_csv, opened, quiet
from tests.integration.staged_tables import implant
from tests.spec.superimposing_examples import case

AXES = "xyz"
PLAN, RESULT = ("planned",), ("achieved",)
BOTH = PLAN + RESULT
LEFT, RIGHT = 0, 1


def names_of(state, *ends):
    return [
        f"{state}_{end}_{axis}_mm" for end in ends or ("entry", "apex") for axis in AXES
    ]


def ends(states, *sides):
    def plant(rows):
        for side in sides:
            for state in states:
                entry, apex = names_of(state, "entry"), names_of(state, "apex")
                exchange(rows[side], entry + apex, rows[side], apex + entry)

    return plant


def sites(states):
    def plant(rows):
        for state in states:
            exchange(rows[LEFT], names_of(state), rows[RIGHT], names_of(state))

    return plant


def exchange(one, here, other, there):
    was = [one[name] for name in here], [other[name] for name in there]
    one.update(zip(here, was[1], strict=True))
    other.update(zip(there, was[0], strict=True))


def signs(states, axes):
    def plant(rows):
        for row in rows:
            for state in states:
                for name in names_of(state):
                    if name[-4] in axes:
                        row[name] = str(-Decimal(row[name]))

    return plant


def divided(states, factor, *sides):
    def plant(rows):
        for side in sides:
            for state in states:
                for name in names_of(state):
                    rows[side][name] = (
                        f"{Decimal(rows[side][name]) / Decimal(factor):.9f}"
                    )

    return plant


def states_exchanged(rows):
    for row in rows:
        exchange(row, names_of("planned"), row, names_of("achieved"))


PLANTED = {
    "achieved_ends_left": ends(RESULT, LEFT),
    "planned_ends_right": ends(PLAN, RIGHT),
    "both_ends_both": ends(BOTH, LEFT, RIGHT),
    "achieved_sites": sites(RESULT),
    "planned_sites": sites(PLAN),
    "both_sites": sites(BOTH),
    "achieved_axes": signs(RESULT, "xy"),
    "planned_axes": signs(PLAN, "xy"),
    "both_axes": signs(BOTH, "xy"),
    "achieved_mirror_x": signs(RESULT, "x"),
    "both_mirror_z": signs(BOTH, "z"),
    "both_scale_both_10": divided(BOTH, "10", LEFT, RIGHT),
    "achieved_scale_left_25.4": divided(RESULT, "25.4", LEFT),
    "planned_scale_both_10": divided(PLAN, "10", LEFT, RIGHT),
    "achieved_scale_both_0.1": divided(RESULT, "0.1", LEFT, RIGHT),
    "both_states": states_exchanged,
}
INVERSE = "achieved_inverse"


def pairs(number):
    """A pair of implants as text, a little elsewhere in every case."""
    draws = np.random.default_rng([20261125, number])
    rows = []
    for side in ("left", "right"):
        cells = implant(side)
        off = draws.normal(0, 0.15, 6).round(3)
        off[5] = off[2]  # as long as its label
        place = np.array([0, 4 + draws.uniform(0, 1), 2]).round(3)
        for i, axis in enumerate(AXES):
            for end, name in enumerate(("entry", "apex")):
                for state in BOTH:
                    cells[f"{state}_{name}_{axis}_mm"] += place[i]
                cells[f"achieved_{name}_{axis}_mm"] += off[i + 3 * end]
        text = {n: f"{c:.3f}" if n.endswith("_mm") else c for n, c in cells.items()}
        rows.append({"case_id": f"case {number}", "achieved_source": "cbct"} | text)
    return rows


def lengthened(rows):
    """Place a longer implant than planned, so that plan and result can be told apart."""
    for row in rows:
        apex = "achieved_apex_z_mm"
        row["placed_length_mm"] = "14"
        row[apex] = str(Decimal(row[apex]) - 4)


def files_of(*, is_faulty):
    implants, landmarks = [], []
    for number, (name, plant) in enumerate(PLANTED.items()):
        rows = pairs(number)
        if name == "both_states":
            lengthened(rows)
        if is_faulty:
            plant(rows)
        implants += rows
    frames = ("scan", "plan") if is_faulty else ("plan", "scan")
    for sheet, cells in case(frames=frames):
        row = {"case_id": INVERSE, **cells}
        (implants if sheet == "implants" else landmarks).append(row)
    return {
        "implants.csv": implants_csv(implants),
        "landmarks.csv": implants_csv(landmarks),
    }


def figures(folder):
    with opened(folder) as audit:
        tables = {
            table: audit.frame(f"select * from {table}").to_dict("records")
            for table in ("measured.implants", "measured.pairs")
        }
        held = audit.value("select count(*) from checked.held")
    codes = Codebook(audits.open_folder(folder).settings())
    numbers = {codes.code_of("case", c): c for c in all_cases()}
    found = {}
    for table, rows in tables.items():
        for row in rows:
            case_id = numbers[row["case_key"]]
            where = (table, row.get("side", ""), row.get("basis", ""))
            found.setdefault(case_id, {})[where] = {
                name: value
                for name, value in row.items()
                if name.endswith(("_mm", "_deg")) and "_sd_" not in name
            }
    return found, held


def all_cases():
    return [f"case {number}" for number in range(len(PLANTED))] + [INVERSE]


@pytest.fixture(scope="module")
def audited(tmp_path_factory):
    """What the audit without faults measures, what was proposed, and both afterwards."""
    place = tmp_path_factory.mktemp("mends")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "home"))
        clean, _ = figures(audit_of(place / "clean", files_of(is_faulty=False)))
        folder = audits.create_folder(place / "faulty", lead="quality lead").folder
        for name, text in files_of(is_faulty=True).items():
            (folder / "records" / name).write_text(text, encoding="utf-8")
        commands.run(folder, "measured", commands.Wishes(), quiet)
        audit = audits.open_folder(folder)
        codes = Codebook(audit.settings())
        keys = dict(zip(all_cases(), [*PLANTED, INVERSE], strict=True))
        with opened(folder) as warehouse:
            rows = warehouse.run(
                "select case_key, concat_ws('|', mend, other_mends), finding_ids[1]"
                " from checked.diagnoses"
            )
        of_code = {codes.code_of("case", c): name for c, name in keys.items()}
        proposed = {of_code[key]: mends.split("|") for key, mends, _ in rows}
        for key, _, finding in rows:
            name = of_code[key]
            if name in proposed[name]:
                accept(audit, audit.settings(), [finding], "looked up", name, quiet)
        commands.run(folder, "measured", commands.Wishes(), quiet)
        mended, held = figures(folder)
    by_name = {
        name: (clean.get(number), mended.get(number)) for number, name in keys.items()
    }
    return proposed, by_name, held


@pytest.mark.parametrize("name", [*PLANTED, INVERSE])
def test_the_mend_accepted_gives_what_the_audit_without_the_fault_measures(
    audited, name
):
    proposed, by_name, _ = audited
    assert name in proposed[name]
    clean, mended = by_name[name]
    assert len(clean) >= 3
    assert set(mended) == set(clean)
    for where, figures_of_row in clean.items():
        for column, value in figures_of_row.items():
            close = pytest.approx(value, abs=2e-5, nan_ok=True)
            assert mended[where][column] == close, (where, column)


def test_no_row_is_set_aside_any_more(audited):
    assert audited[2] == 0

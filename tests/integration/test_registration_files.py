"""A DICOM registration object stands for matching points, from the file to the figures."""

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from tests.audits import (
    COORDINATES,
    audit_of,
    fill,
    implants_csv,
    invoke,
    opened,
    records_of,
)
from tests.dicom_objects import (
    DEFORMABLE,
    PATIENT,
    image,
    matrix_of,
    registration,
)
from tests.spec.superimposing_examples import MARKS

N_CASES = 8
SDS = ["entry_sd_mm", "apex_sd_mm", "angle_sd_deg", "sd_basis"]
ERRORS = ["tre_entry_mm", "tre_apex_mm", "axis_sd_deg"]


def made_cases():
    """Cases with error in the plan's coordinates, and each case's motion of its scan."""
    rng = np.random.default_rng(20261126)
    planned = np.zeros((N_CASES, 2, 2, 3))
    planned[..., 0] = (np.array([1.0, -1]) * rng.uniform(7, 12, (N_CASES, 2)))[
        ..., None
    ]
    planned[..., 1, :] += [0, 1.5, -11]
    achieved = planned + rng.normal(0, 0.8, planned.shape)
    turn = Rotation.random(N_CASES, rng=rng).as_matrix()
    shift = rng.normal(0, 80, (N_CASES, 3))
    return planned, achieved, turn, shift


PLANNED, ACHIEVED, TURN, SHIFT = made_cases()


def to_plan(i: int) -> np.ndarray:
    """The matrix that takes the scan of case i back to its plan."""
    return matrix_of(TURN[i].T, -TURN[i].T @ SHIFT[i])


def sheets(how: str, count: int = N_CASES, **only: str) -> dict[str, str | bytes]:
    """Files of the same cases: in the ``plan``, by ``marks``, or by a ``file`` each."""
    cases, implants, marks, found = [], [], [], {}
    for i in range(count):
        number = {"case_id": f"C{i:02d}"}
        cases.append(number | {"surgery_date": f"2026-02-{i + 1:02d}"})
        if how == "file":
            cases[-1]["registration_file"] = f"scans/{i}.dcm"
            found[f"scans/{i}.dcm"] = registration(to_plan(i))
        is_moved = how != "plan"
        for j, side in enumerate(("left", "right")):
            result = (
                ACHIEVED[i, j] @ TURN[i].T + SHIFT[i] if is_moved else ACHIEVED[i, j]
            )
            points = np.ravel([PLANNED[i, j], result]).tolist()
            frame = {"side": side, "achieved_frame": "scan" if is_moved else "plan"}
            cells = dict(zip(COORDINATES, map(repr, points), strict=True))
            implants.append(number | frame | {"achieved_source": "cbct"} | cells)
        for label, point in MARKS.items():
            at = {"plan": np.array(point, float)}
            if how == "marks":
                at["scan"] = TURN[i] @ point + SHIFT[i]
            for frame, xyz in at.items():
                cells = {
                    f"{x}_mm": repr(v) for x, v in zip("xyz", xyz.tolist(), strict=True)
                }
                marks.append(number | {"label": label, "frame": frame} | cells)
    cases[0] |= only
    return found | {
        "cases.csv": implants_csv(cases),
        "implants.csv": implants_csv(implants),
        "landmarks.csv": implants_csv(marks),
    }


def table(folder, name: str) -> pd.DataFrame:
    """A table with the cases in the order of their days, whatever their codes are."""
    with opened(folder) as audit:
        return audit.frame(
            f"""select t.* exclude (case_key), strftime(c.surgery_date, '%d') as day
            from {name} as t
            inner join (select distinct case_key, surgery_date from staged.cases) as c
                on t.case_key = c.case_key
            order by all desc"""
        )


def findings(folder) -> dict[str, str]:
    with opened(folder) as audit:
        return dict(
            audit.run(
                """select check_id, sentence || ' ' || suggestion from checked.findings
                where check_id like 'registration-%' or check_id like 'scan-%'"""
            )
        )


@pytest.fixture(scope="module")
def three_ways(tmp_path_factory):
    folder = tmp_path_factory.mktemp("three")
    return {
        how: audit_of(folder / how, sheets(how)) for how in ("plan", "marks", "file")
    }


@pytest.mark.parametrize("name", ["measured.implants", "measured.pairs"])
@pytest.mark.parametrize("other", ["plan", "marks"])
def test_a_scan_moved_by_a_file_measures_as_the_same_case_without_it(
    three_ways, name, other
):
    """A decimal string holds 16 characters, so figures agree to 1e-6 and better."""
    by_file, twin = (
        table(three_ways[how], name)
        .drop(columns=["patient_key"])
        .sort_values(["day", *(["side"] if "implants" in name else [])])
        .reset_index(drop=True)
        for how in ("file", other)
    )
    assert len(by_file) == N_CASES * (2 if "implants" in name else 1)
    if other == "marks" and "implants" in name:
        by_file, twin = (one.drop(columns=SDS + ERRORS) for one in (by_file, twin))
    pd.testing.assert_frame_equal(by_file, twin, rtol=0, atol=1e-6)


def test_the_error_of_a_file_is_not_known_and_its_uncertainty_is_that_of_the_source(
    three_ways,
):
    by_file, in_plan = (
        table(three_ways[h], "measured.implants") for h in ("file", "plan")
    )
    assert by_file[ERRORS].isna().all(axis=None)
    assert set(by_file["entry_sd_mm"]) == set(in_plan["entry_sd_mm"])
    scans = table(three_ways["file"], "measured.registrations")
    assert scans["is_from_file"].all()
    assert scans["is_superimposed"].all()
    assert scans[["fre_mm", "tre_entry_mm", "axis_sd_deg"]].isna().all(axis=None)
    (note,) = set(scans["note"])
    assert note == (
        "moved by a registration file, whose error is not known: the uncertainty is that"
        " of the source alone"
    )


def test_no_matching_point_is_missed_where_a_file_serves(three_ways):
    assert findings(three_ways["file"]) == {}


def test_a_file_that_runs_the_other_way_stops_its_case_and_says_so(tmp_path):
    inverted = np.linalg.inv(to_plan(0))
    given = sheets("file") | {"scans/0.dcm": registration(inverted)}
    folder = audit_of(tmp_path / "a", given)
    found = findings(folder)
    assert list(found) == ["registration-file-inverted"]
    said = found["registration-file-inverted"]
    assert said.startswith(
        "Row 2: with the motion in the file that registration_file names used the other"
        " way round, the implants of the scan come "
    )
    assert "landmark" not in said
    assert " point" not in said
    measured = table(folder, "measured.implants")
    assert set(measured["day"]) == {f"{i + 1:02d}" for i in range(1, N_CASES)}


def test_matching_points_serve_before_a_file(tmp_path):
    """The file would put the implants somewhere else; it is not even needed."""
    wrong = {"wrong.dcm": registration(np.linalg.inv(to_plan(0)))}
    given = sheets("marks", 1, registration_file="wrong.dcm") | wrong
    folder = audit_of(tmp_path / "a", given)
    assert findings(folder) == {}
    assert not table(folder, "measured.registrations")["is_from_file"].any()


GOOD = to_plan(0)
WILD: dict[str, tuple[bytes | str, str]] = {
    "not there": ("away.dcm", "missing"),
    "above": ("../secret.dcm", "missing"),
    "anywhere": ("/etc/passwd", "missing"),
    "a folder": ("wild", "missing"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(200), "unreadable"),
    "no bytes": (b"", "unreadable"),
    "a sheet": ("cases.csv", "unreadable"),
    "noise": (
        bytes(128) + b"DICM" + np.random.default_rng(3).bytes(5000),
        "unreadable",
    ),
    "a length of 4 GB": (
        registration(GOOD)[:300] + b"\x70\x00\x08\x03SQ\x00\x00\xfe\xff\xff\xff",
        "unreadable",
    ),
    "an image": (image(), "other-object"),
    "bent": (registration(GOOD, sop_class=DEFORMABLE), "deformable"),
    "two motions": (registration(GOOD, to_plan(1)), "motions"),
    "mirrored": (registration(GOOD * [[-1], [1], [1], [1]]), "mirrored"),
    "enlarged": (registration(GOOD * [[2], [2], [2], [1]]), "not-rigid"),
}


@pytest.fixture(scope="module")
def wild(tmp_path_factory):
    """One audit: a wild file, or a wild name, to a case; the last case has a good one."""
    folder = tmp_path_factory.mktemp("wild")
    cases, implants, files = [], [], {"../secret.dcm": registration(GOOD)}
    for i, name in enumerate([*WILD, "good"]):
        number = {"case_id": name}
        place = i % N_CASES
        move = matrix_of(TURN[place], SHIFT[place] + 0.37 * i)
        content = WILD[name][0] if name in WILD else registration(np.linalg.inv(move))
        file = content if isinstance(content, str) else f"wild/{i}.dcm"
        cases.append(number | {"registration_file": file})
        if isinstance(content, bytes):
            files[file] = content
        for j, side in enumerate(("left", "right")):
            result = ACHIEVED[place, j] + 0.013 * i
            result = result @ move[:3, :3].T + move[:3, 3]
            points = np.ravel([PLANNED[place, j] + 0.021 * i, result]).tolist()
            frame = {"side": side, "achieved_frame": "scan", "achieved_source": "cbct"}
            cells = dict(zip(COORDINATES, map(repr, points), strict=True))
            implants.append(number | frame | cells)
    files["cases.csv"] = implants_csv(cases)
    files["implants.csv"] = implants_csv(implants)
    return audit_of(folder / "a", files)


def test_a_wild_file_or_name_costs_its_case_the_figures_against_the_plan_and_nothing_else(
    wild,
):
    with opened(wild) as audit:
        said = audit.run(
            """select row_number, check_id from checked.findings
            where check_id like 'registration-%' or check_id like 'scan-%'
            order by row_number"""
        )
        pairs = audit.value(
            "select count(*) from measured.pairs where achieved_angle_deg is not null"
        )
        against_plan = audit.value(
            "select count(*) from measured.implants where entry_3d_mm is not null"
        )
        reasons = {
            reason
            for (reason,) in audit.run("select reason from measured.registrations")
        }
    wanted = [
        (i, f"registration-file-{w}") for i, (_, w) in enumerate(WILD.values(), 2)
    ]
    assert said == wanted
    assert pairs == len(WILD) + 1
    assert against_plan == 2
    (reason,) = reasons - {None}
    assert reason == (
        "no point is marked in both plan and scan, and the registration file named cannot"
        " be used"
    )


def test_the_motion_is_kept_without_the_patient_and_the_file_is_needed_no_more(
    tmp_path, capsys
):
    folder = audit_of(tmp_path / "a", sheets("file"))
    wanted = table(folder, "measured.implants")
    for path in (folder / "records" / "scans").iterdir():
        path.unlink()
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0, err
    pd.testing.assert_frame_equal(table(folder, "measured.implants"), wanted)
    with records_of(folder) as records:
        kept = records.frame("select * from registration_files")
        exported = tmp_path / "kept.csv"
        kept.to_csv(exported)
    assert len(kept) == N_CASES
    family_name = PATIENT.partition("^")[0].encode()
    for path in (exported, folder / "records.duckdb"):
        assert family_name not in path.read_bytes()


def test_a_file_that_comes_later_or_changes_is_read_then(tmp_path, capsys):
    given = sheets("file", 1)
    late = given.pop("scans/0.dcm")
    folder = audit_of(tmp_path / "a", given)
    assert set(findings(folder)) == {"registration-file-missing"}
    other = to_plan(0) + matrix_of(np.zeros((3, 3)), [1.5, 0, 0]) * [[1], [1], [1], [0]]
    figures = []
    for content in (late, registration(other)):
        fill(folder, {"scans/0.dcm": content})
        code, _, err = invoke(capsys, "run", folder)
        assert code == 0, err
        assert findings(folder) == {}
        figures.append(table(folder, "measured.implants")["entry_3d_mm"])
    assert abs(figures[0] - figures[1]).max() > 0.2


def test_a_file_that_a_case_names_is_used_and_another_only_seen(tmp_path, capsys):
    folder = tmp_path / "a"
    invoke(capsys, "start", folder, "--records", "coordinates")
    (folder / "records" / "records.xlsx").unlink()
    fill(folder, sheets("file") | {"slice.dcm": image()})
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0, err
    assert f"{N_CASES} registration objects read" in err
    assert "seen, not read: 1 " in err

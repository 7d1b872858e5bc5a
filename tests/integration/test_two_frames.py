"""A plan in one set of coordinates, the scan in another: superimposed by matching points."""

import io

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from pipeline import audit as audits
from pipeline import commands
from pipeline.records.codes import Codebook
from pipeline.reference import load
from tests.audits import (
    COORDINATES,
    audit_of,
    fill,
    implants_csv,
    invoke,
    opened,
    quiet,
)
from tests.spec.superimposing_examples import MARKS, TURN, case, only

N_CASES = 30
SDS = ["entry_sd_mm", "apex_sd_mm", "angle_sd_deg", "sd_basis"]
ERRORS = ["tre_entry_mm", "tre_apex_mm", "axis_sd_deg"]


def sheets(cases):
    """Files of an audit out of the rows of each case, as the check examples give them.

    Every scan has coordinates of its own, as in life: copied results are held.
    """
    rows = {}
    for place, (number, given) in enumerate(cases.items()):
        for sheet, cells in given:
            own = {"case_id": number} | in_own_scan(sheet, cells, 0.137 * place)
            rows.setdefault(sheet, []).append(own)
    return {f"{sheet}.csv": implants_csv(cells) for sheet, cells in rows.items()}


def in_own_scan(sheet, cells, shift):
    """A row with the scan's points moved to the patient's left by a shift."""
    moved = {
        "implants": ["achieved_entry_x_mm", "achieved_apex_x_mm"],
        "landmarks": ["x_mm"],
    }.get(sheet, [])
    is_scan = "scan" in (cells.get("achieved_frame"), cells.get("frame"))
    return {
        name: float(value) + shift if is_scan and name in moved else value
        for name, value in cells.items()
    }


def with_noise(number, sd, labels=MARKS, source="cbct"):
    """A case whose matching points are read with an error of sd mm per coordinate."""
    rng = np.random.default_rng(number)
    marks = {label: MARKS[label] for label in labels}
    wrong = {label: np.add(p, rng.normal(0, sd, 3)) for label, p in marks.items()}
    return case(marks, source=source, **wrong)


def figures(folder, table):
    with opened(folder) as audit:
        return audit.frame(f"select * from {table}").set_index("case_key")


@pytest.fixture(scope="module")
def pairs_of_frames():
    """Cases with error in plan coordinates, and every case's own motion of the scan."""
    rng = np.random.default_rng(20261125)
    side = np.array([1.0, -1.0])
    planned = np.zeros((N_CASES, 2, 2, 3))
    planned[..., 0] = (side * rng.uniform(7, 12, (N_CASES, 2)))[..., None]
    planned[..., 1, :] += [0, 1.5, -11]
    achieved = planned + rng.normal(0, 0.8, planned.shape)
    turn = Rotation.random(N_CASES, rng=rng).as_matrix()
    shift = rng.normal(0, 80, (N_CASES, 3))
    return planned, achieved, turn, shift


def files_of(pairs_of_frames, *, in_scan):
    planned, achieved, turn, shift = pairs_of_frames
    implants, marks = [], []
    for i in range(N_CASES):
        motion = (turn[i], shift[i]) if in_scan else (np.eye(3), np.zeros(3))
        base = {"case_id": f"C{i:02d}", "achieved_source": "cbct"}
        for j, side in enumerate(("left", "right")):
            points = (*planned[i, j], *(achieved[i, j] @ motion[0].T + motion[1]))
            cells = dict(
                zip(COORDINATES, map(repr, np.ravel(points).tolist()), strict=True)
            )
            frame = {"side": side, "achieved_frame": "scan" if in_scan else "plan"}
            implants.append(base | frame | cells)
        for frame in ("plan", "scan") if in_scan else ("plan",):
            for label, point in MARKS.items():
                is_scan = frame == "scan"
                at = turn[i] @ point + shift[i] if is_scan else np.array(point, float)
                xyz = {
                    f"{x}_mm": repr(float(v)) for x, v in zip("xyz", at, strict=True)
                }
                marks.append(
                    {"case_id": f"C{i:02d}", "label": label, "frame": frame} | xyz
                )
    return {
        "implants.csv": implants_csv(implants),
        "landmarks.csv": implants_csv(marks),
    }


def shown(capsys, folder, table):
    """A table of an audit as the command line shows it, by case and side."""
    code, out, _ = invoke(capsys, "show", folder, table, "--format", "csv")
    assert code == 0
    return pd.read_csv(io.StringIO(out))


def test_a_scan_moved_by_a_known_motion_measures_as_the_same_case_in_one_frame(
    pairs_of_frames, tmp_path, capsys
):
    """All through the command line; exact points, so all figures agree to 1e-9."""
    found = {}
    for name, in_scan in (("one", False), ("two", True)):
        folder = tmp_path / name
        assert invoke(capsys, "start", folder)[0] == 0
        fill(folder, files_of(pairs_of_frames, in_scan=in_scan))
        assert invoke(capsys, "run", folder)[0] == 0
        book = Codebook(audits.open_folder(folder).settings())
        order = {book.code_of("case", f"C{i:02d}"): i for i in range(N_CASES)}
        for table, keys in (
            ("implants", ["case_key", "side"]),
            ("pairs", ["case_key"]),
        ):
            rows = shown(capsys, folder, f"measured.{table}")
            rows = rows.assign(case_key=rows["case_key"].map(order), patient_key="")
            found[name, table] = rows.sort_values(keys).reset_index(drop=True)
    for table in ("implants", "pairs"):
        one, two = found["one", table], found["two", table]
        assert len(one) == N_CASES * (2 if table == "implants" else 1)
        assert (one["jaw_frame_basis"] == "pad_to_crest").all()
        apart = [*SDS, *ERRORS] if table == "implants" else []
        pd.testing.assert_frame_equal(
            one.drop(columns=apart), two.drop(columns=apart), rtol=0, atol=1e-9
        )
    assert found["one", "implants"][ERRORS].isna().all(axis=None)
    assert (found["two", "implants"][ERRORS] < 1e-9).all(axis=None)
    assert found["one", "implants"]["angle_deg"].min() > 0


def test_the_error_of_superimposing_is_added_to_that_of_the_source(tmp_path):
    """u^2 = u_superimposing^2 + u_source^2; the points' error is pooled over the source."""
    cases = {f"C{i}": with_noise(i, 0.3) for i in range(8)}
    folder = audit_of(tmp_path / "a", sheets(cases))
    scans = figures(folder, "measured.registrations")
    assert scans["is_superimposed"].all()
    assert (scans["fle_basis"] == "pooled").all()
    n = scans["landmarks_used"]
    pooled = np.sqrt((n * scans["fre_mm"] ** 2).sum() / (n - 2).sum())
    np.testing.assert_allclose(scans["fle_mm"], pooled)
    assert pooled == pytest.approx(0.3 * np.sqrt(3), rel=0.2)
    rows = figures(folder, "measured.implants")
    published = next(
        r for r in load.rows("source_errors") if r["achieved_source"] == "cbct"
    )
    for ours, error, source in (
        ("entry_sd_mm", "tre_entry_mm", "entry_sd_mm"),
        ("apex_sd_mm", "tre_apex_mm", "apex_sd_mm"),
        ("angle_sd_deg", "axis_sd_deg", "angle_sd_deg"),
    ):
        assert (rows[error] > 0).all()
        expected = np.hypot(rows[error], float(published[source]))
        np.testing.assert_allclose(rows[ours], expected)
    assert set(rows["sd_basis"]) == {"superimposing and published"}
    largest = rows.groupby("case_key")["tre_entry_mm"].max()
    np.testing.assert_allclose(scans["tre_entry_mm"], largest[scans.index])
    modes = [
        c for c in scans.columns if c.endswith(("left_sd_mm", "back_sd_mm", "up_sd_mm"))
    ]
    assert len(modes) == 3
    # at the pair's middle the shifts hold no more than at an entry and an apex together
    assert (np.sqrt((scans[modes] ** 2).sum(axis=1)) < scans["tre_entry_mm"]).all()


def test_few_points_take_the_published_error_and_say_so(tmp_path):
    three = ("left_pad", "right_pad", "midline")
    cases = {
        "C1": with_noise(1, 0.3, three),
        "C2": with_noise(2, 0.3, three, "cast_scan"),
    }
    folder = audit_of(tmp_path / "a", sheets(cases))
    scans = figures(folder, "measured.registrations")
    published = {
        r["achieved_source"]: float(r["fle_mm"]) for r in load.rows("landmark_errors")
    }
    assert scans["fle_basis"].tolist() == ["published"] * 2
    assert scans["fle_mm"].tolist() == [published[s] for s in scans["achieved_source"]]
    for note in scans["note"]:
        assert "three points: no check possible" in note
        assert "on soft tissue it is a lower limit" in note
        assert "published" in note
    assert scans["worst_label"].isna().all()


FRONT = {"a": (3, 0, 0), "b": (-3, 0, 1), "c": (0, -4, 0), "d": (0, 1, 3)}
LINE = {"a": (20, 0, 0), "b": (-20, 1, 0), "c": (0, -1, 0), "d": (7, 0, 1)}


def changed(rows, change):
    """The rows of a case, each with what ``change`` gives for it."""
    return [(sheet, cells | change(sheet, cells)) for sheet, cells in rows]


def read_twice(rows):
    """The midline in the scan is read 1 mm to either side of where it is."""
    for sheet, cells in rows:
        if cells.get("label") != "midline" or cells["frame"] != "scan":
            yield sheet, cells
            continue
        for reading, by in ((1, 1.0), (2, -1.0)):
            x = repr(float(cells["x_mm"]) + by)
            yield sheet, cells | {"x_mm": x, "reading": reading}


def with_a_point_twice():
    """One point stands twice under one key, a little apart."""
    rows = [*case(), *(r for r in case() if r[1].get("label") == "marker a")]
    sheet, cells = rows[-1]
    rows[-1] = (sheet, cells | {"x_mm": repr(float(cells["x_mm"]) + 0.4)})
    return rows


def in_two_scans():
    """Both implants in two scans, each with points of its own."""
    other = case(motion=lambda p: np.asarray(p) @ TURN + [5, 6, 7])
    return [
        *case(),
        *((s, c | {"scan": "2"}) for s, c in other if c.get("frame") != "plan"),
    ]


ALL_SORTS = {
    "good": case(),
    "no point": [row for row in case() if row[0] == "implants"],
    "two points": case(only("left_pad", "midline")),
    "near a line": case(LINE),
    "all in front": case(FRONT, source="cast_scan"),
    "blunder": case(midline=(6, 2, 6)),
    "mirror": case(motion=lambda p: np.asarray(p) @ TURN.T * [-1, 1, 1] + 9),
    "exchanged": case(frames=("scan", "plan")),
    "near a site": changed(
        case(**{"marker b": (0, 0, 0)}),
        lambda _, c: {"near_site": "yes"} if c.get("label") == "marker b" else {},
    ),
    "read twice": list(read_twice(case())),
    "point twice": with_a_point_twice(),
    "two scans": in_two_scans(),
    "days": [
        *changed(
            case(),
            lambda s, _: {"measured_date": "2026-03-10"} if s == "implants" else {},
        ),
        ("cases", {"plan_date": "2026-01-01", "surgery_date": "2026-02-01"}),
    ],
}


class Measured:
    """What one audit of all sorts of cases found, by the name of the case."""

    def __init__(self, folder):
        self.folder = folder
        book = Codebook(audits.open_folder(folder).settings())
        self.names = {book.code_of("case", name): name for name in ALL_SORTS}

    def table(self, table):
        with opened(self.folder) as audit:
            rows = audit.frame(f"select * from {table}")
        return rows.assign(name=rows["case_key"].map(self.names)).set_index("name")


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        yield Measured(
            audit_of(tmp_path_factory.mktemp("sorts") / "a", sheets(ALL_SORTS))
        )


REASONS = {
    "no point": "no point is marked in both plan and scan",
    "two points": "only 2 matching point(s); it takes three",
    "near a line": "the matching points lie nearly on one line",
    "all in front": "expected error of an axis 7.2 degrees, more than 3.0",
}


@pytest.mark.parametrize("name", REASONS)
def test_a_scan_that_cannot_be_superimposed_still_gives_the_pairs_figures(
    measured, name
):
    """The angle, distances and own-frame figures equal those of a superimposed twin."""
    reason = REASONS[name]
    assert measured.table("measured.registrations").loc[name, "reason"] == reason
    implants, pairs = (measured.table(f"measured.{t}") for t in ("implants", "pairs"))
    assert implants.loc[name, ["entry_3d_mm", "tre_entry_mm"]].isna().all(axis=None)
    (note,) = implants.loc[name, "basis_note"].unique()
    assert note.startswith("the result stands in the scan's own coordinates")
    assert note.endswith(f"({reason})")
    assert implants.loc["good", "entry_3d_mm"].notna().all()
    for column in (
        "planned_angle_deg",
        "achieved_angle_deg",
        "achieved_spacing_mm",
        "achieved_apex_spacing_mm",
        "achieved_own_frontal_convergence_deg",
        "achieved_own_sagittal_difference_deg",
    ):
        one, twin = pairs.loc[name, column], pairs.loc["good", column]
        assert one == pytest.approx(twin, abs=1e-9)
    assert np.isnan(pairs.loc[name, "achieved_frontal_convergence_deg"])


CHECKS = {
    "no point": "scan-no-matching-points",
    "two points": "scan-too-few-points",
    "near a line": "scan-points-on-a-line",
    "all in front": "scan-superimposed-loosely",
    "blunder": "scan-misfit",
    "mirror": "scan-mirror-image",
    "exchanged": "scan-frames-exchanged",
}


def test_each_fault_is_told_once_and_nothing_else_is_said_of_its_case(measured):
    findings = measured.table("checked.findings")
    findings = findings[findings["check_id"].str.startswith(("scan-", "jaw-"))]
    assert findings["check_id"].to_dict() == CHECKS
    assert len(findings) == len(CHECKS)


def test_a_doubt_about_the_patient_or_the_hand_sets_the_case_aside(measured):
    names = set(measured.table("measured.implants").index)
    assert names == set(ALL_SORTS) - {"blunder", "mirror", "exchanged"}
    assert "blunder" not in measured.table("measured.registrations").index


def test_the_point_that_disagrees_is_named_with_its_distance(measured):
    """A blunder of 11 mm leaves 3.8 mm over all points; alone it shows in full."""
    blunder = measured.table("checked.registrations").loc["blunder"]
    assert blunder["worst_label"] == "midline"
    assert blunder["leave_one_out_mm"] == pytest.approx(11, abs=1e-6)
    assert blunder["fre_mm"] == pytest.approx(3.82, abs=0.005)
    assert blunder["fle_mm"] < 0.3  # it stays out of the pool of its source


def test_points_near_a_site_are_left_out_and_counted(measured):
    """A wrong point that is marked near_site does no harm."""
    scan = measured.table("measured.registrations").loc["near a site"]
    assert (scan["landmarks_used"], scan["count_left_out"]) == (5, 1)
    assert scan["fre_mm"] < 1e-9
    assert "1 point(s) near a site left out" in scan["note"]


def test_readings_of_a_point_are_averaged_first_and_then_weigh_more(measured):
    """Two readings 1 mm either side of the truth are as good as the truth."""
    assert measured.table("measured.registrations").loc["read twice", "fre_mm"] < 1e-9
    points = measured.table("checked.matching_points").loc["read twice"]
    weights = points.set_index("label")["weight"].to_dict()
    assert weights.pop("midline") == pytest.approx(4 / 3)
    assert set(weights.values()) == {1.0}


def test_a_matching_point_that_is_set_aside_takes_its_superimposition_with_it(measured):
    """One point twice under one key: both rows are held, and no scan rests on them."""
    assert set(measured.table("checked.held").loc["point twice", "sheet"]) == {
        "landmarks"
    }
    assert "point twice" not in measured.table("measured.registrations").index
    assert (
        measured.table("measured.implants").loc["point twice", "angle_deg"].isna().all()
    )
    assert measured.table("measured.pairs").loc["point twice", "achieved_angle_deg"] > 0


def test_two_scans_are_superimposed_each_by_its_own_points_and_then_averaged(measured):
    """Both scans of one implant count, because both stand in the plan's coordinates."""
    assert len(measured.table("measured.registrations").loc[["two scans"]]) == 2
    implants = measured.table("measured.implants").sort_values("side")
    both, alone = implants.loc["two scans"], implants.loc["good"]
    assert both["count_readings"].tolist() == [2, 2]
    np.testing.assert_allclose(both["entry_3d_mm"], alone["entry_3d_mm"], atol=1e-9)


def test_days_between_plan_and_result_stand_where_both_days_are_known(measured):
    days = measured.table("measured.registrations")["days_between_scans"]
    assert days["days"] == 68
    assert pd.isna(days["good"])


def test_limits_of_the_audit_decide_what_is_too_loose(tmp_path):
    """audit.toml may allow more, or less, than 3 degrees and 1.5 mm."""
    folder = audit_of(tmp_path / "a", sheets({"C": ALL_SORTS["all in front"]}))
    with (folder / "audit.toml").open("a") as settings:
        settings.write("\n[superimposing]\nlargest_axis_error_deg = 8\n")
    commands.run(folder, "measured", commands.Wishes(), quiet)
    assert figures(folder, "measured.registrations")["is_superimposed"].all()
    with (folder / "audit.toml").open("a") as settings:
        settings.write("largest_entry_error_mm = 1\n")
    commands.run(folder, "measured", commands.Wishes(), quiet)
    reason = figures(folder, "measured.registrations")["reason"].tolist()
    assert reason == ["expected error at an entry 1.1 mm, more than 1.0"]

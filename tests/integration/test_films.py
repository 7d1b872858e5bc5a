"""Films as a clinic reads them: exact where arithmetic can be, screening always.

The pictures are drawn here: a pin is leant in three dimensions, projected on two films
that enlarge unequally, and read as a person would read length, width and lean.
"""

import csv
import io

import numpy as np
import pytest

from pipeline import audit as audits
from pipeline.records.codes import Codebook
from tests.audits import audit_of, opened

FILM = {
    "panoramic": (1.28, 1.02),
    "pa_skull": (1.10, 1.13),
    "lateral_skull": (1.09, 1.12),
}
"""Magnification sideways and upward."""


def film(case, side, state, view, leans, *, kind="panoramic", **more):
    """Return one row of the films sheet: a pin of 2 by 10 mm, leans (frontal, sagittal)."""
    sideways, upward = FILM[kind]
    own, other = leans if view == "frontal" else leans[::-1]
    a, b = np.tan(np.radians([own, other]))
    shown = 10 * np.array([a, 1]) / np.sqrt(1 + a**2 + b**2)
    x, z = sideways * shown[0], upward * shown[1]
    length = np.hypot(x, z)
    # the outline is a parallelogram, whose area grows by both magnifications
    width = sideways * upward * np.hypot(*shown) * 2 / length
    return {
        "case_id": case,
        "side": side,
        "state": state,
        "view": view,
        "tilt_deg": np.degrees(np.arctan2(x, z)),
        "film_kind": kind,
        "angle_reference": "occlusal_plane",
        "scale_object": "marker",
        "true_length_mm": 10,
        "true_width_mm": 2,
        "image_length_mm": length,
        "image_width_mm": width,
    } | more


def both_views(case, side, state, leans, *, front="panoramic", **more):
    return [
        film(case, side, state, "frontal", leans, kind=front, **more),
        film(case, side, state, "sagittal", leans, kind="lateral_skull", **more),
    ]


def sheet(rows):
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


LEANS = {"left": (10, 15), "right": (-4, 5)}
BOTH_STATES = ("planned", "achieved")
ALONE = film("alone", "left", "achieved", "frontal", (10, 15), kind="pa_skull")
ROWS = [
    *(
        row
        for side, achieved in LEANS.items()
        for state, lean in (("planned", (1, -2)), ("achieved", achieved))
        for row in both_views("axes", side, state, lean)
    ),
    ALONE,
    *both_views("both", "left", "achieved", (10, 15), front="pa_skull"),
    # the head is turned by 3 degrees on the film of the result
    *(
        film("edge", side, state, "frontal", (lean, 0), angle_reference="film_edge")
        for state, leans in (("planned", (0, 0)), ("achieved", (6 + 3, 2 - 3)))
        for side, lean in zip(("left", "right"), leans, strict=True)
    ),
    *(
        film(case, "left", state, "frontal", (lean, 0), angle_reference=line)
        for case, other in (("border", "lower_border"), ("unsaid", ""))
        for state, lean, line in (
            ("planned", 1, "occlusal_plane"),
            ("achieved", 5, other),
        )
    ),
    *(
        film("shadows", side, state, "frontal", (lean, 0), spacing_image_mm=16 * 1.28)
        for side in ("left", "right")
        for state, lean in (("planned", 0), ("achieved", 3))
    ),
    *(
        film(
            *("shadows", "both", state, "sagittal", (0, lean)),
            kind="lateral_skull",
            difference_deg=4,
        )
        for state, lean in (("planned", 0), ("achieved", 5))
    ),
    film(
        *("read", "left", "achieved", "frontal", (10, 0)),
        tilt_deg=10,
        image_length_mm=10.5,
        image_width_mm=2.1,
    ),
    film(
        *("ball", "left", "achieved", "frontal", (0, 0)),
        scale_object="ball",
        true_length_mm=5,
        true_width_mm=5,
        image_length_mm=6.25,
        image_width_mm=6.25,
        spacing_image_mm=15,
    ),
    *(
        row
        for case in ("with cast", "films only")
        for state in BOTH_STATES
        for row in both_views(case, "left", state, (2, 3))
    ),
]
CAST = "case_id,side,state,midline_mm,tool\n" + "".join(
    f"with cast,{side},{state},{value},ruler\n"
    for side in ("left", "right")
    for state, value in (("planned", 8), ("achieved", 9))
)


@pytest.fixture(scope="module")
def rows(tmp_path_factory):
    """Return the rows of a table for one case, from one audit of all films."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        files = {"films.csv": sheet(ROWS), "cast_readings.csv": CAST}
        folder = audit_of(tmp_path_factory.mktemp("made") / "a", files)
        code = Codebook(audits.open_folder(folder).settings()).code_of

    def of_case(table, case):
        key = {"case": code("case", case)}
        with opened(folder) as audit:
            frame = audit.frame(
                f"select * from measured.{table} where case_key = $case", key
            ).astype(object)
        return frame.where(frame.notna(), None).to_dict("records")

    return of_case


def by_side(rows):
    return {row["side"]: row for row in rows}


def axis(leans):
    vector = np.array([*np.tan(np.radians(leans)), 1])
    return vector / np.linalg.norm(vector)


def angle(one, other):
    return np.degrees(
        np.arctan2(np.linalg.norm(np.cross(one, other)), np.dot(one, other))
    )


def test_leans_of_both_views_make_the_angle_to_plan(rows):
    """A pin leaning 10 to the middle and 15 forward comes back so, and its angle."""
    found = by_side(rows("implants", "axes"))
    for side, achieved in LEANS.items():
        row = found[side]
        assert (row["basis"], row["achieved_source"]) == (
            "films",
            "panoramic_and_lateral_skull",
        )
        got = (row["achieved_frontal_tilt_deg"], row["achieved_sagittal_tilt_deg"])
        # foreshortening is put right twice, which leaves less than this
        assert got == pytest.approx(achieved, abs=2e-3)
        assert row["frontal_tilt_change_deg"] == pytest.approx(
            achieved[0] - 1, abs=2e-3
        )
        truth = angle(axis((1, -2)), axis(achieved))
        assert row["angle_deg"] == pytest.approx(truth, abs=3e-3)
        for cannot in ("entry_3d_mm", "depth_mm", "apex_3d_mm", "mesial_mm"):
            assert row[cannot] is None
        assert row["jaw_frame_basis"] == "occlusal_plane"


def test_the_angle_of_the_pair_is_that_of_its_two_axes(rows):
    (pair,) = rows("pairs", "axes")
    left, right = (axis(LEANS[side]) for side in ("left", "right"))
    left[0] = -left[0]  # toward the midline is to the right for the left implant
    assert pair["achieved_angle_deg"] == pytest.approx(angle(left, right), abs=5e-3)
    assert pair["achieved_frontal_convergence_deg"] == pytest.approx(6, abs=3e-3)
    assert pair["achieved_sagittal_difference_deg"] == pytest.approx(10, abs=3e-3)


def test_a_lean_out_of_the_film_is_taken_out_only_with_the_other_view(rows):
    """Published check: 15 degrees out of the film make 10 read 9.68 on an equal scale."""
    (alone,) = rows("film_leans", "alone")
    shrunk = np.cos(np.arctan(np.tan(np.radians(15)) * np.cos(np.radians(10))))
    expected = np.degrees(np.arcsin(shrunk * np.sin(np.radians(20)))) / 2
    assert alone["lean_deg"] == pytest.approx(expected, abs=1e-9)
    assert alone["lean_deg"] == pytest.approx(9.68, abs=0.03)
    assert not alone["is_foreshortening_corrected"]
    views = {row["view"]: row for row in rows("film_leans", "both")}
    assert views["frontal"]["lean_deg"] == pytest.approx(10, abs=2e-3)


def test_the_edge_of_the_film_is_no_zero_line_but_falls_out_of_the_pair(rows):
    """A head turned by 3 degrees leans both implants; their difference stays."""
    for row in rows("implants", "edge"):
        assert row["achieved_frontal_tilt_deg"] is None
        assert row["frontal_tilt_change_deg"] is None
        assert "edge of the film" in row["basis_note"]
    (pair,) = rows("pairs", "edge")
    assert pair["planned_frontal_convergence_deg"] == pytest.approx(0, abs=1e-9)
    assert pair["achieved_frontal_convergence_deg"] == pytest.approx(8, abs=1e-9)
    assert pair["frontal_convergence_change_deg"] == pytest.approx(8, abs=1e-9)
    assert pair["achieved_angle_deg"] is None  # one plane only is never the angle


@pytest.mark.parametrize("case", ["border", "unsaid"])
def test_plan_and_result_read_against_different_lines_give_no_change(rows, case):
    (row,) = rows("implants", case)
    assert row["planned_frontal_tilt_deg"] == pytest.approx(1)
    assert row["frontal_tilt_change_deg"] is None


def test_both_shadows_together_give_a_mean_and_a_size_never_a_side(rows):
    (films,) = rows("pairs_from_films", "shadows")
    assert films["achieved_mean_sagittal_tilt_deg"] == pytest.approx(5, abs=1e-9)
    assert films["mean_sagittal_tilt_change_deg"] == pytest.approx(5, abs=1e-9)
    assert films["achieved_sagittal_difference_size_deg"] == 4
    assert films["achieved_sagittal_difference_deg"] is None
    (pair,) = rows("pairs", "shadows")
    rule = np.degrees(np.arctan(np.hypot(*np.tan(np.radians([6, 4])))))
    assert pair["achieved_angle_deg"] == pytest.approx(rule, abs=0.03)
    assert pair["sagittal_difference_change_deg"] is None
    assert pair["pair_rotation_deg"] is None
    sides = rows("implants", "shadows")
    assert {row["achieved_sagittal_tilt_deg"] for row in sides} == {None}


def test_the_published_warning_stands_beside_every_panoramic_lean(rows):
    """Owens & Johal 2008, as published_accuracy.csv has it: 26.7 % within 2.5 degrees."""
    (row,) = rows("implants", "border")
    assert "screening only" in row["basis_note"]
    assert "26.7 % of root angles came within 2.5 degrees" in row["basis_note"]
    assert "(Owens & Johal 2008)" in row["basis_note"]


def test_the_uncertainty_of_a_lean_is_that_of_reading_it(rows):
    """Against a simulation; width and length read to 0.1 mm cost 0.5 degrees at 10."""
    (found,) = rows("film_leans", "read")
    rng = np.random.default_rng(20261125)
    lean, length, width = rng.normal((10, 10.5, 2.1), (0.5, 0.1, 0.1), (200_000, 3)).T
    ratio = (length / 10) / (width / 2)
    true = np.degrees(np.arcsin(ratio * np.sin(np.radians(2 * lean)))) / 2
    assert found["lean_sd_deg"] == pytest.approx(true.std(), rel=0.02)
    of_scale = np.sqrt(found["lean_sd_deg"] ** 2 - 0.5**2)
    assert of_scale == pytest.approx(0.5, abs=0.02)


def test_films_are_preferred_only_where_there_is_nothing_else(rows):
    beside_a_cast = rows("implants", "with cast")
    preferred = {row["basis"]: row["is_preferred"] for row in beside_a_cast}
    assert preferred == {"cast": True, "films": False}
    (alone,) = rows("implants", "films only")
    assert (alone["basis"], alone["is_preferred"]) == ("films", True)


def test_spacing_of_the_pins_is_scaled_by_the_pin_itself(rows):
    """16 mm between the pins show 16 x 1.28 on a film that widens by 1.28."""
    (pair,) = rows("pairs_from_films", "shadows")
    assert pair["planned_spacing_mm"] == pytest.approx(16, abs=1e-9)


def test_a_ball_scales_the_film_by_a_worked_value(rows):
    """A 5.0 mm ball imaged 6.25 enlarges by 1.25, so 15.0 on the film are 12.0 mm."""
    (found,) = rows("film_leans", "ball")
    assert found["spacing_mm"] == pytest.approx(12, abs=1e-12)


def test_films_are_never_set_against_published_means(tmp_path):
    cases = "case_id,surgery_date,guide_support,guidance,guide_method\n" + "".join(
        f"C{n},2025-03-04,mucosa,full,printed\n" for n in range(12)
    )
    read = [
        row
        for n in range(12)
        for side in ("left", "right")
        for state, lean in (("planned", (0, 0)), ("achieved", (1 + n / 4, 2)))
        for row in both_views(f"C{n}", side, state, lean)
    ]
    files = {"films.csv": sheet(read), "cases.csv": cases}
    folder = audit_of(tmp_path / "a", files, up_to="summarised")
    with opened(folder) as audit:
        assert audit.value("select count(*) from summarised.verdicts") == 0
        shown = audit.run(
            "select distinct sources from summarised.accuracy where measure = 'angle_deg'"
        )
    assert shown == [("films, panoramic_and_lateral_skull",)]

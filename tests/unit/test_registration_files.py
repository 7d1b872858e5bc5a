"""One rigid motion is read from a DICOM registration object, and nothing else of it."""

import json

import numpy as np
import pydicom
import pytest
from scipy.spatial.transform import Rotation

from pipeline.records.child import run_child
from pipeline.records.registration_child import read_motion
from pipeline.records.registration_files import MOTION, REGISTRATIONS
from tests.dicom_objects import (
    DEFORMABLE,
    PATIENT,
    image,
    matrix_of,
    registration,
)

TURN = Rotation.from_rotvec([0.3, -0.2, 0.5]).as_matrix()
SHIFT = np.array([35.0, -60, 12])
GOOD = matrix_of(TURN, SHIFT)


def read(tmp_path, content: bytes):
    path = tmp_path / "registration.dcm"
    path.write_bytes(content)
    return read_motion(path)


def motion_of(found) -> np.ndarray:
    values = [found[name] for name in MOTION]
    return matrix_of(np.reshape(values[:9], (3, 3)), values[9:])


def test_the_matrix_is_read_row_by_row_and_the_item_at_rest_does_not_count(tmp_path):
    """DICOM PS3.3 C.20.2.1.1: row-major, [x y z 1] of the source to the registered."""
    found = read(tmp_path, registration(GOOD))
    assert (found["failure"], found["count_motions"]) == ("", 1)
    np.testing.assert_allclose(motion_of(found), GOOD, atol=1e-10)


def test_an_object_whose_only_matrix_moves_nothing_says_that_nothing_moves(tmp_path):
    found = read(tmp_path, registration())
    assert found["failure"] == ""
    np.testing.assert_array_equal(motion_of(found), np.eye(4))


def test_a_matrix_of_few_decimals_becomes_an_exact_rotation(tmp_path):
    found = read(tmp_path, registration(np.round(GOOD, 5)))
    turn = motion_of(found)[:3, :3]
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(turn, TURN, atol=2e-5)


def test_the_patients_name_number_and_birthday_are_not_even_read(tmp_path, monkeypatch):
    read_whole, seen = pydicom.dcmread, []

    def looked_at(*given, **more):
        seen.append(read_whole(*given, **more))
        return seen[-1]

    monkeypatch.setattr(pydicom, "dcmread", looked_at)
    assert read(tmp_path, registration(GOOD))["failure"] == ""
    (found,) = seen
    assert {element.keyword for element in found} == {
        "SOPClassUID",
        "RegistrationSequence",
    }


def test_nothing_of_the_patient_or_of_the_images_is_handed_on(tmp_path):
    found = read(tmp_path, registration(GOOD))
    assert set(found) == {"failure", "count_motions", *MOTION}
    assert PATIENT not in json.dumps(found)


WRONG = {
    "scaled": (registration(matrix_of(1.01 * TURN, SHIFT)), "not_rigid"),
    "sheared": (
        registration(matrix_of(TURN + 0.01 * np.eye(3)[[1, 0, 0]], SHIFT)),
        "not_rigid",
    ),
    "called affine": (registration(GOOD, kind="AFFINE"), "not_rigid"),
    "of no type": (registration(GOOD, kind=""), "not_rigid"),
    "a last row": (registration(GOOD + np.eye(4)[3] * 0.5), "not_rigid"),
    "mirrored": (registration(matrix_of(TURN * [-1, 1, 1], SHIFT)), "mirrored"),
    "two motions": (registration(GOOD, matrix_of(TURN.T, SHIFT)), "not_one"),
    "bent": (registration(GOOD, sop_class=DEFORMABLE), "deformable"),
    "an image": (image(), "other_object"),
    "text": (b"case_id,side\n", "unreadable"),
    "empty": (b"", "unreadable"),
    "no number": (
        registration(GOOD).replace(b"35.0", b"3x.0"),
        "unreadable",
    ),
    "a head alone": (bytes(128) + b"DICM", "unreadable"),
    "cut short": (registration(GOOD)[:-40], "unreadable"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_no_rigid_motion_is_refused_with_its_reason(tmp_path, name):
    content, failure = WRONG[name]
    found = read(tmp_path, content)
    assert found["failure"] == failure
    assert not set(MOTION) & set(found)


def test_numbers_that_are_not_finite_are_no_motion(tmp_path):
    content = registration(GOOD)
    assert content.count(b"-60") == 1
    found = read(tmp_path, content.replace(b"-60", b"nan"))
    assert found["failure"] in {"not_rigid", "unreadable"}


@pytest.mark.parametrize("is_delimited", [False, True])
def test_any_cut_of_a_file_ends_in_a_reason_or_in_the_whole_motion(
    tmp_path, is_delimited
):
    """Cut between two items, the one at rest alone would say that nothing moves."""
    content = registration(GOOD, is_delimited=is_delimited)
    assert read(tmp_path, content)["failure"] == ""
    for end in range(len(content)):
        found = read(tmp_path, content[:end])
        if found["failure"] == "":
            np.testing.assert_allclose(motion_of(found), GOOD, atol=1e-10)


def test_the_process_says_one_line_a_file_in_their_order(tmp_path):
    contents = {"a.dcm": registration(GOOD), "b.dcm": image(), "c": b"no"}
    for name, content in contents.items():
        (tmp_path / name).write_bytes(content)
    files = [str(tmp_path / name) for name in contents]
    output, is_whole = run_child(REGISTRATIONS.child, files)
    assert is_whole
    said = [json.loads(line)["failure"] for line in output.splitlines()]
    assert said == ["", "other_object", "unreadable"]

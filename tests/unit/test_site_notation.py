"""Places in the jaw come out as FDI positions, whatever they are written in."""

import pytest

from pipeline.records.axes import axes_named, is_right_handed
from pipeline.records.site_notation import fdi_of, side_of_fdi, site_of_letter
from pipeline.reference import load


@pytest.mark.parametrize(
    ("universal", "fdi"),
    [
        # HL7 FHIR, surface and tooth code systems: Universal 19, 25, 32 are FDI 36, 41, 48
        ("19", "36"), ("25", "41"), ("32", "48"),
        # the ends of each quadrant: 1 upper right to 16 upper left, 17 lower left to 32
        ("1", "18"), ("8", "11"), ("9", "21"), ("16", "28"), ("17", "38"), ("24", "31"),
        # the lower canine and lateral sites
        ("22", "33"), ("27", "43"), ("23", "32"), ("26", "42"),
    ],
)  # fmt: skip
def test_universal_numbers_run_round_both_jaws(universal, fdi):
    assert fdi_of(universal, "universal") == fdi


def test_every_tooth_has_one_number_in_each_notation():
    rows = load.rows("tooth_numbers")
    assert [int(row["universal"]) for row in rows] == list(range(1, 33))
    every = {f"{quadrant}{tooth}" for quadrant in "1234" for tooth in "12345678"}
    assert {row["fdi"] for row in rows} == every


@pytest.mark.parametrize(
    ("cell", "notation", "fdi"),
    [
        ("#22", "universal", "33"),
        ("LL3", "quadrant", "33"),
        ("lr 2", "quadrant", "42"),
        ("UR1", "quadrant", "11"),
        ("4.3", "fdi", "43"),
        ("FDI 33", "fdi", "33"),
        ("FDI33", "fdi", "33"),
    ],
)
def test_the_usual_spellings_are_understood(cell, notation, fdi):
    assert fdi_of(cell, notation) == fdi


@pytest.mark.parametrize(
    ("cell", "notation"),
    [("33", "universal"), ("0", "universal"), ("39", "fdi"), ("53", "fdi"), ("LL9", "quadrant"), ("canine", "fdi")],
)  # fmt: skip
def test_a_number_another_notation_has_is_refused(cell, notation):
    assert fdi_of(cell, notation) is None


def test_letters_run_from_the_end_that_is_stated():
    # five places A to E between the foramina: common practice
    right = [site_of_letter(letter, "right") for letter in "ABCDE"]
    assert right == ["right_distal", "right", "middle", "left", "left_distal"]
    assert [site_of_letter(letter, "left") for letter in "ABCDE"] == right[::-1]
    assert site_of_letter("F", "right") is None


def test_sides_are_the_patients_own():
    assert [side_of_fdi(fdi) for fdi in ("33", "23", "43", "13")] == [
        "left", "left", "right", "right",
    ]  # fmt: skip


def ours(letters: str, theirs: tuple[float, float, float]) -> tuple[float, ...]:
    return tuple(
        -theirs[axis.place] if axis.is_reversed else theirs[axis.place]
        for axis in axes_named(letters)
    )


def test_ras_differs_from_the_dicom_axes_in_the_sign_of_the_first_two():
    # DICOM PS3.3 C.7.6.2.1.1: x to the patient's left, y to the back, z to the head
    assert ours("LPS", (1, 2, 3)) == (1, 2, 3)
    assert ours("RAS", (1, 2, 3)) == (-1, -2, 3)


def test_columns_in_another_order_are_put_in_ours():
    # forward, up, left
    assert ours("ASL", (1, 2, 3)) == (3, -1, 2)


@pytest.mark.parametrize("letters", ["RRS", "LP", "LPSX", "XYZ", ""])
def test_letters_that_leave_out_a_direction_are_no_convention(letters):
    assert axes_named(letters) is None
    assert not is_right_handed(letters)


def test_a_convention_is_right_handed_when_its_determinant_is_one():
    import itertools

    import numpy as np

    for places in itertools.permutations(("LR", "PA", "SI")):
        for letters in map("".join, itertools.product(*places)):
            matrix = np.zeros((3, 3))
            for row, axis in enumerate(axes_named(letters)):
                matrix[row, axis.place] = -1 if axis.is_reversed else 1
            assert is_right_handed(letters) == (np.linalg.det(matrix) > 0), letters

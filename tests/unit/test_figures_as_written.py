"""Figures as people write them are understood whole, or left as they are."""

import math
from decimal import Decimal

import pytest

from pipeline.records.numbers_written import (
    Style,
    as_unread,
    looks_read,
    read_number,
)
from pipeline.records.units import in_ours, unit_written, units
from pipeline.reference import load

MM, DEG = units()["mm"], units()["deg"]


def text(cell: str, style: Style) -> str | None:
    found = read_number(cell, style)
    return None if found is None else found.text


@pytest.mark.parametrize(
    ("cell", "style", "expected"),
    [
        ("3.2", Style(), "3.2"),
        ("3.20", Style(), "3.20"),
        (" 3,2 ", Style(","), "3.2"),
        ("1.234,5", Style(",", "."), "1234.5"),
        ("1'234.5", Style(".", "'"), "1234.5"),
        ("1 234,5", Style(",", " "), "1234.5"),
        ("12.34", Style(".", ","), "12.34"),
        ("\u22120.4", Style(), "-0.4"),
        ("3,2", Style("either"), "3.2"),
        ("3.2", Style("either"), "3.2"),
        ("1e-05", Style(), "0.00001"),
        (".5", Style(), "0.5"),
        ("7 1/2", Style(), "7.5"),
        ("7½", Style(","), "7.5"),
        ("-1 1/4", Style(), "-1.25"),
    ],
)
def test_a_figure_is_read_with_the_signs_it_is_written_in(cell, style, expected):
    assert text(cell, style) == expected


@pytest.mark.parametrize(
    ("cell", "style"),
    [
        ("3.2", Style(",")),
        ("3,2", Style()),
        ("1,23,4", Style(".", ",")),
        ("12,34", Style(".", ",")),
        ("<1", Style()),
        ("ca. 3", Style()),
        ("3.2 (approx)", Style(unit=MM)),
        ("2-3", Style(unit=MM)),
        ("4/3", Style()),
        ("nan", Style()),
        ("inf", Style()),
        ("1_000", Style()),
        ("", Style()),
        ("2026-07-08", Style(unit=MM, is_range_read=True)),
        ("3 mm", Style()),
        ("3 deg", Style(unit=MM)),
        ("3 bananas", Style(unit=MM)),
    ],
)
def test_what_is_no_figure_in_this_style_is_not_read(cell, style):
    assert read_number(cell, style) is None


@pytest.mark.parametrize(
    ("cell", "unit", "expected"),
    [
        ("0.32", "cm", "3.2"),
        ("1200", "µm", "1.200"),
        ("1.2 cm", "mm", "12"),
        ("12 µm", "mm", "0.012"),
        ("3 mm", "cm", "3"),
        ('1/4"', "mm", "6.350"),
    ],
)
def test_a_unit_in_the_cell_counts_before_the_unit_of_the_column(cell, unit, expected):
    assert text(cell, Style(unit=units()[unit])) == expected


def test_the_inch_is_25_4_millimetres():
    # exact: agreement of 1959 on the international yard (NIST SP 811, appendix B)
    assert in_ours(Decimal(1), units()["inch"]) == Decimal("25.4")


@pytest.mark.parametrize("radians", [0.01, 0.3, 1.0, math.pi])
def test_radians_become_the_degrees_of_the_math_library(radians):
    found = text(repr(radians), Style(unit=units()["rad"]))
    assert float(found) == pytest.approx(math.degrees(radians), rel=1e-15)


def test_centimetres_keep_every_digit():
    for whole in range(1, 3000, 7):
        cell = f"{whole / 1000:.3f}"
        found = Decimal(text(cell, Style(unit=units()["cm"])))
        assert found == Decimal(cell) * 10


def test_a_reversed_sign_turns_every_figure_but_zero():
    style = Style(is_reversed=True)
    assert [text(cell, style) for cell in ("0.3", "-0.3", "0", "-0")] == [
        "-0.3", "0.3", "0", "-0",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "middle", "half"),
    [("7-8", "7.5", "0.5"), ("7 – 8 mm", "7.5", "0.5"), ("7 1/2 to 8", "7.75", "0.25")],
)
def test_a_planned_range_is_its_middle_with_half_its_width_beside_it(
    cell, middle, half
):
    found = read_number(cell, Style(unit=MM, is_range_read=True))
    assert (found.text, found.half_width) == (middle, half)


def test_a_range_in_centimetres_has_its_half_width_in_millimetres():
    found = read_number("0.7-0.8", Style(unit=units()["cm"], is_range_read=True))
    assert (found.text, found.half_width) == ("7.5", "0.5")


def test_a_range_that_falls_is_no_range():
    assert read_number("8-7", Style(unit=MM, is_range_read=True)) is None


def test_a_cell_left_unread_is_not_taken_for_a_figure_later():
    assert looks_read("3.2")
    assert not looks_read(as_unread("3.2"))


def test_every_way_to_write_a_unit_leads_to_one_unit():
    forms = [form for row in load.rows("units") for form in row["written"].split("|")]
    assert len(forms) == len(set(forms))
    for row in load.rows("units"):
        for form in row["written"].split("|"):
            assert unit_written(form.upper()).name == row["unit"]


def test_a_unit_of_the_wrong_kind_is_not_a_unit_here():
    assert read_number("3°", Style(unit=DEG)).unit == "deg"
    assert read_number("3°", Style(unit=MM)) is None

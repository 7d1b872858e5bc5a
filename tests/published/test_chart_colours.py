"""Colours of the charts against a published standard.

Source: Web Content Accessibility Guidelines 2.1 (W3C Recommendation, 5 June 2018):
definitions of relative luminance and contrast ratio, success criteria 1.4.3 (text,
4.5 to 1) and 1.4.11 (graphical objects, 3 to 1). Formulae written down from memory;
the check values black on white 21 and equal colours 1 are those the definition gives.
"""

import pytest

from pipeline.reported import charts


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4
        for part in parts
    ]
    return sum(
        weight * part
        for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True)
    )


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_values_of_its_definition():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == pytest.approx(1)


@pytest.mark.parametrize("ink", [charts.INK, charts.MUTED])
def test_text_in_charts_can_be_read(ink):
    assert contrast(ink, charts.PAPER) >= 4.5
    assert contrast(ink, charts.BAND) >= 4.5


@pytest.mark.parametrize("mark", [charts.LEFT, charts.RIGHT, charts.PAIR, charts.FLOOR])
def test_marks_stand_out_from_the_paper(mark):
    assert contrast(mark, charts.PAPER) >= 3


def test_left_and_right_stay_apart_in_a_grey_print():
    """Common practice, no source: twice the contrast tells two greys apart."""
    assert contrast(charts.LEFT, charts.RIGHT) >= 2

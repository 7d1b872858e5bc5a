"""Typing errors in published figures are found, and clean tables are left alone."""

from __future__ import annotations

import pytest

from pipeline.reference.lint import lint_published, sd_divisor

CLEAN = {
    "key": "invented2020_entry",
    "citation": "Invented et al. 2020",
    "jaw": "lower",
    "edentulism": "full",
    "guide_support": "mucosa",
    "guidance": "full",
    "guide_method": "printed",
    "measure": "entry_3d_mm",
    "statistic": "mean",
    "value": "1.2",
    "sd": "0.6",
    "ci_low": "1.0",
    "ci_high": "1.4",
    "n_implants": "38",
    "n_patients": "19",
    "n_studies": "",
    "source_status": "seen",
    "note": "two implants a patient; 12 of 38 (31.6 %) beyond 1.5 mm",
}


def with_(**changes: str) -> dict[str, str]:
    return {**CLEAN, **changes}


def test_a_clean_row_is_left_alone() -> None:
    assert lint_published([CLEAN]) == []


def test_an_empty_table_has_nothing_wrong() -> None:
    assert lint_published([]) == []


# Each fault is of a kind met in print; where it was read stands beside it.
FAULTS = [
    # Chen 2019, doi 10.1097/ID.0000000000000915: 5.45 beside an interval 0.66 to 4.24
    (
        {"value": "5.45", "ci_low": "0.66", "ci_high": "4.24"},
        "does not contain its mean",
    ),
    # an abstract on three attachment systems: "8 of 120 (9.6 %)"; 8/120 is 6.7 %
    ({"note": "8 of 120 (9.6 %) failed"}, "8 of 120 is not 9.6 %"),
    ({"note": "8/120 (9,6%)"}, "8 of 120 is not 9,6 %"),
    ({"note": "0 of 0 (5 %)"}, "0 of 0 is not 5 %"),
    # PMID 26776292 prints an angle in mm
    ({"measure": "angle_deg", "unit": "mm"}, "unit mm does not fit"),
    # PMID 23111968 prints a range "3.00-0.13"
    ({"ci_low": "3.00", "ci_high": "0.13"}, "from high to low"),
    # an interval of mean ± 1.96 "sd" is an interval of a standard error
    ({"sd": "0.102"}, "looks like a standard error"),
    ({"sd": "0"}, "sd is not positive"),
    ({"sd": "-0.6"}, "sd is not positive"),
    ({"n_implants": "0"}, "n_implants is not a positive"),
    ({"n_patients": "12.5"}, "n_patients is not a positive"),
    ({"n_patients": "40"}, "more patients than implants"),
    ({"ci_low": ""}, "only one end"),
    ({"value": "1,2"}, "value is not a number"),
    ({"value": "nan"}, "value is not a number"),
    ({"value": ""}, "value is empty"),
    ({"citation": " "}, "citation is empty"),
    ({"statistic": "average"}, "statistic must be one of"),
    ({"source_status": "heard"}, "source_status must be one of"),
    ({"measure": "entry_3d"}, "does not end in its unit"),
    ({"value": "1200", "ci_low": "1000", "ci_high": "1400"}, "too large for mm"),
    ({"value": "-1.2", "ci_low": "-1.4", "ci_high": "-1.0"}, "cannot be negative"),
    (
        {"measure": "angle_deg", "value": "0.06", "ci_low": "0.05", "ci_high": "0.07"},
        "radians?",
    ),
]


@pytest.mark.parametrize(("changes", "sentence"), FAULTS)
def test_a_planted_fault_is_found_and_named(
    changes: dict[str, str], sentence: str
) -> None:
    found = lint_published([with_(**changes)])
    assert any(sentence in line for line in found), found
    assert all(line.startswith("invented2020_entry: ") for line in found)


def test_a_mean_with_its_sd_repeated_in_one_study_is_found() -> None:
    """An apical figure identical to the global one was met in print (Clin Oral Implants Res, Dec 2015)."""
    again = with_(
        key="invented2020_apex", measure="apex_3d_mm", ci_low="0.9", ci_high="1.5"
    )
    assert lint_published([CLEAN, again]) == [
        "invented2020_apex: repeats the figures of invented2020_entry"
    ]


def test_one_pooled_figure_under_two_names_is_found() -> None:
    again = with_(
        key="consensus2020_entry", citation="Consensus of the same review", sd="0.7"
    )
    assert lint_published([CLEAN, again]) == [
        "consensus2020_entry: repeats the figures of invented2020_entry"
    ]


def test_the_same_mean_alone_is_no_repeat() -> None:
    again = with_(
        key="invented2020_apex",
        measure="apex_3d_mm",
        sd="0.8",
        ci_low="0.9",
        ci_high="1.5",
    )
    assert lint_published([CLEAN, again]) == []


def test_a_key_used_twice_is_found() -> None:
    other = with_(value="1.3", sd="0.7", ci_high="1.5")
    assert lint_published([CLEAN, other]) == ["invented2020_entry: key occurs 2 times"]


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ("study_mean_low", "study_mean_high"),
        ("mean", "max"),
        ("mean", "p95"),
        ("p95", "max"),
        ("pooled_mean", "max"),
    ],
)
def test_a_range_from_high_to_low_is_found_and_an_ordered_one_is_not(
    low: str, high: str
) -> None:
    plain = {"sd": "", "ci_low": "", "ci_high": ""}
    first = with_(statistic=low, value="3.0", **plain)
    second = with_(key="invented2020_end", statistic=high, value="0.13", **plain)
    assert lint_published([first, second]) == [
        f"invented2020_entry: {low} is above {high}, range reversed?"
    ]
    assert lint_published([first, {**second, "value": "3.1"}]) == []


def test_a_range_is_not_made_of_two_different_arms() -> None:
    plain = {"sd": "", "ci_low": "", "ci_high": ""}
    other = with_(key="other", guidance="pilot", statistic="max", value="0.5", **plain)
    assert lint_published([CLEAN, other]) == []


def test_a_part_larger_than_the_whole_is_found() -> None:
    plain = {"sd": "", "ci_low": "", "ci_high": ""}
    part = with_(key="part", measure="entry_lateral_mm", value="1.3", **plain)
    assert lint_published([CLEAN, part]) == [
        "part: entry_lateral_mm is larger than entry_3d_mm"
    ]
    assert lint_published([CLEAN, {**part, "value": "1.1"}]) == []


def test_a_row_without_a_key_is_named_by_its_place() -> None:
    found = lint_published([CLEAN, with_(key="", sd="")])
    assert "row 2: key is empty" in found


def test_a_table_with_other_columns_is_reported_not_crashed_on() -> None:
    assert "row 1: measure is empty" in lint_published([{"author": "somebody"}])


def test_the_divisor_of_a_printed_sd_is_told_from_its_rows() -> None:
    """1, 2, 3, 4: sd 1.29 with n-1 and 1.12 with n (by hand: sqrt 5/3, sqrt 5/4)."""
    rows = [1.0, 2.0, 3.0, 4.0]
    assert sd_divisor(rows, 1.29, sd_digits=2, row_digits=2) == "n-1"
    assert sd_divisor(rows, 1.12, sd_digits=2, row_digits=2) == "n"
    assert sd_divisor(rows, 1.2, sd_digits=0, row_digits=2) == "either"
    assert sd_divisor(rows, 2.0, sd_digits=2, row_digits=2) == "neither"
    with pytest.raises(ValueError, match="two values"):
        sd_divisor([1.0], 0.0, sd_digits=1, row_digits=1)

"""Which published figures a comparison refuses, why, and what may be pooled."""

from __future__ import annotations

import math

import pytest

from pipeline.reference import load
from pipeline.summarised.comparison import band_of
from pipeline.summarised.literature import (
    matches_of,
    misses,
    pooled_of,
    studies,
    variance_of,
)

SETS = {row["comparison_set"]: row for row in load.rows("comparison_sets")}
PUBLISHED = {row["key"]: row for row in load.rows("published_accuracy")}
PRIMARY = [row["measure"] for row in load.rows("measures") if row["is_primary"]]
LOWER = SETS["lower_mucosa_full"]
FITTING = {
    "jaw": "lower",
    "edentulism": "full",
    "guide_support": "mucosa",
    "guidance": "full",
    "guide_method": "printed",
    "measure": "entry_3d_mm",
    "statistic": "mean",
    "design": "cohort",
    "source_status": "seen",
}


def test_a_figure_of_the_same_kind_in_every_key_is_not_refused() -> None:
    assert misses(FITTING, LOWER, "entry_3d_mm") == {}


@pytest.mark.parametrize(
    ("column", "word", "key", "why"),
    [
        ("jaw", "upper", "jaw", "upper instead of lower"),
        ("jaw", "both", "jaw", "both together"),
        ("edentulism", "partial", "edentulism", "partial instead of full"),
        ("guide_support", "bone", "guide_support", "bone instead of mucosa"),
        ("guidance", "dynamic", "guidance", "dynamic instead of full"),
        ("guidance", "", "guidance", "not stated"),
        ("guide_method", "lab_made", "guide_method", "lab made instead of milled or printed"),
        ("measure", "entry_lateral_mm", "definition", "lateral instead of 3-D"),
        ("measure", "entry_unspecified_mm", "definition", "3-D or lateral not stated instead of 3-D"),
        ("statistic", "max", "statistic", "largest value instead of mean"),
        ("design", "bench", "design", "models instead of patients"),
        ("source_status", "memory", "source", "recalled, not read"),
    ],
)  # fmt: skip
def test_each_key_that_differs_is_named_with_what_was_published(
    column: str, word: str, key: str, why: str
) -> None:
    row = {**FITTING, column: word}
    assert misses(row, LOWER, "entry_3d_mm") == {key: why}


def test_a_lab_made_guide_matches_the_set_of_lab_made_guides() -> None:
    row = {**FITTING, "guide_method": "lab_made"}
    assert misses(row, SETS["lab_made_guide"], "entry_3d_mm") == {}


@pytest.mark.parametrize("name", sorted(SETS))
@pytest.mark.parametrize("measure", PRIMARY)
def test_no_figure_is_left_out_of_a_band_without_a_reason(
    name: str, measure: str
) -> None:
    """Every figure on the subject appears once: in the band, or refused with why."""
    matches = matches_of(SETS[name], measure)
    assert len({match["key"] for match in matches}) == len(matches)
    for match in matches:
        assert match["is_in_band"] or match["reason"]
        assert match["count_misses"] == len(
            list(filter(None, match["reason"].split("; ")))
        )
    stem = measure.split("_", maxsplit=1)[0]
    about = {k for k, row in PUBLISHED.items() if row["measure"].split("_")[0] == stem}
    assert about <= {match["key"] for match in matches}


def test_the_figures_in_the_band_are_those_whose_ends_a_verdict_uses() -> None:
    matches = matches_of(LOWER, "entry_3d_mm")
    values = [match["value"] for match in matches if match["is_in_band"]]
    assert (min(values), max(values)) == band_of("lower_mucosa_full", "entry_3d_mm")


def test_only_single_clinical_studies_that_were_read_are_pooled() -> None:
    for chosen in SETS.values():
        for measure in ("entry_3d_mm", "apex_3d_mm", "angle_deg", "achieved_angle_deg"):
            for row in studies(chosen, measure):
                assert row["statistic"] == "mean"
                assert row["design"] in {"cohort", "trial"}
                assert row["source_status"] != "memory"
                assert row["measure"] == measure
                assert row["edentulism"] == chosen["edentulism"]


def test_a_study_weighs_by_its_patients_not_by_its_implants() -> None:
    """D'haese et al. 2012 print 0.91, SD 0.44 mm, 77 implants in 13 patients."""
    row = PUBLISHED["dhaese2012_entry"]
    assert (row["n_implants"], row["n_patients"]) == ("77", "13")
    assert math.sqrt(variance_of(row)) == pytest.approx(0.44 / math.sqrt(13))


def test_the_pooled_entry_lies_between_its_studies_and_says_they_are_upper_jaws() -> (
    None
):
    row = pooled_of(LOWER, "entry_3d_mm", "REML")
    assert row["n_studies"] == 3
    assert row["n_patients"] == 13 + 11 + 15  # as the three papers print them
    assert 0.86 < row["mean"] < 1.65
    assert row["mean_low"] < row["mean"] < row["mean_high"]
    assert row["prediction_high"] > row["mean_high"]
    assert "jaw: upper instead of lower (3 of 3)" in row["unlike"]


@pytest.mark.parametrize("name", ["lab_made_guide", "freehand_edentulous"])
def test_too_few_studies_are_not_pooled_and_the_reason_is_given(name: str) -> None:
    row = pooled_of(SETS[name], "entry_3d_mm", "DerSimonian-Laird")
    assert row["mean"] is None
    assert row["tau2"] is None
    assert row["note"].startswith("Not pooled: ")


def test_a_readers_own_choice_is_pooled_and_what_cannot_be_is_refused_with_its_reason():
    """The three studies of the set less one, two more of its own, one review, one recalled."""
    used = [row["key"] for row in studies(LOWER, "entry_3d_mm")]
    review = "tahmaseb2018_all_entry"
    assert PUBLISHED[review]["statistic"] == "pooled_mean"
    keys = (*used[:2], review)
    row = pooled_of(LOWER, "entry_3d_mm", "REML", keys)
    assert row["is_own_choice"]
    assert row["study_keys"] == "; ".join(used[:2])
    assert f"{review} (no mean of a single clinical study)" in row["refused"]
    assert row["note"].startswith("Not pooled: ")
    of_set = pooled_of(LOWER, "entry_3d_mm", "REML")
    assert not of_set["is_own_choice"]
    same = pooled_of(LOWER, "entry_3d_mm", "REML", used)
    assert (same["mean"], same["is_own_choice"]) == (of_set["mean"], True)


def test_a_choice_that_says_nothing_on_a_measure_leaves_it_to_the_set():
    entry = [row["key"] for row in studies(LOWER, "entry_3d_mm")]
    row = pooled_of(LOWER, "angle_deg", "REML", entry)
    assert not row["is_own_choice"]
    assert row == pooled_of(LOWER, "angle_deg", "REML")

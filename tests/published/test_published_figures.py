"""The shipped tables of published figures hold together and can be recomputed."""

from __future__ import annotations

import math
import re
from collections import Counter

import numpy as np
import pytest

from pipeline.reference import load
from pipeline.reference.lint import lint_published, unit_of
from tests.published import open_tables

PUBLISHED = {row["key"]: row for row in load.rows("published_accuracy")}
SETS = {row["comparison_set"]: row for row in load.rows("comparison_sets")}
MEMBERS = load.rows("comparison_members")
CODES = {
    "jaw": {"lower", "upper", "both"},
    "edentulism": {"full", "partial", "single", "mixed"},
    "guide_support": {"mucosa", "bone", "tooth", "mixed", "none", ""},
    "guidance": {
        "full",
        "half",
        "pilot",
        "freehand",
        "dynamic",
        "robotic",
        "mixed",
        "",
    },
    "guide_method": {"printed", "thermoformed", "lab_made", "mixed", "none", ""},
    "design": {"meta-analysis", "review", "trial", "cohort", "bench", "cadaver"},
}


def value(key: str) -> float:
    return float(PUBLISHED[key]["value"])


def sd(key: str) -> float:
    return float(PUBLISHED[key]["sd"])


def band(comparison_set: str, measure: str) -> list[dict[str, str]]:
    return [
        PUBLISHED[row["key"]]
        for row in MEMBERS
        if row["comparison_set"] == comparison_set
        and row["measure"] == measure
        and row["role"] == "band"
    ]


def test_our_own_table_passes_its_linter() -> None:
    assert lint_published(PUBLISHED.values()) == []


@pytest.mark.parametrize("column", CODES)
def test_every_coded_column_uses_its_words(column: str) -> None:
    assert {row[column] for row in PUBLISHED.values()} <= CODES[column]


def test_every_measure_is_one_of_ours_or_says_that_it_is_not() -> None:
    """Only *_unspecified_mm and the differences between methods are not measured."""
    ours = {row["measure"]: row["unit"] for row in load.rows("measures")}
    for row in PUBLISHED.values():
        measure = row["measure"]
        if "_unspecified_" in measure or measure.startswith("method_"):
            assert unit_of(measure)
        else:
            assert ours[measure] == unit_of(measure)


def test_signed_means_stay_out() -> None:
    assert not any(row["measure"] == "depth_mm" for row in PUBLISHED.values())


def test_every_figure_that_was_read_says_where_and_no_recalled_one_does() -> None:
    for row in PUBLISHED.values():
        assert bool(row["where_seen"]) == (row["source_status"] != "memory")
        assert ("recalled" in row["note"]) or row["source_status"] != "memory"


def test_sources_md_counts_what_the_table_holds() -> None:
    text = (load.FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    counts = Counter(row["source_status"] for row in PUBLISHED.values())
    for status, count in counts.items():
        assert re.search(rf"^\| {status} \| {count} \|", text, re.MULTILINE)
    left = [int(n) for n in re.findall(r"^\| (\d+) \| [a-z]", text, re.MULTILINE)]
    total = re.search(r"(\d+) figures were collected", text)
    assert total
    assert int(total[1]) == sum(counts.values()) + sum(left)


def test_95th_percentiles_are_those_of_the_published_rows() -> None:
    """Onclin et al. 2020, 23 implants; numpy's default, straight line between ranks."""
    columns = {
        "onclin2020_angle_p95": "angular_deviation_deg",
        "onclin2020_entry_p95": "global_deviation_mm",
        "onclin2020_lat_p95": "lateral_deviation_mm",
        "onclin2020_depth_p95": "depth_deviation_mm",
    }
    rows = open_tables.upper_jaw_rows()
    for key, column in columns.items():
        found = np.quantile([float(row[column]) for row in rows], 0.95)
        assert found == pytest.approx(value(key), abs=0.005)
    derived = {k for k, row in PUBLISHED.items() if row["source_status"] == "derived"}
    assert derived == set(columns)


@pytest.mark.parametrize(
    "key", ["yimarj2020_static_interimplant", "yimarj2020_dyn_interimplant"]
)
def test_the_derived_interval_of_parallelism_is_a_t_interval_over_pairs(
    key: str,
) -> None:
    """15 pairs; t(0.975, 14 df) = 2.145 from any printed table of Student's t."""
    row = PUBLISHED[key]
    half = 2.145 * sd(key) / math.sqrt(15)
    assert float(row["ci_low"]) == pytest.approx(value(key) - half, abs=0.006)
    assert float(row["ci_high"]) == pytest.approx(value(key) + half, abs=0.006)
    assert "interval derived" in row["note"]


def test_every_member_is_a_published_row_of_a_named_set_and_appears_once() -> None:
    assert {row["comparison_set"] for row in MEMBERS} == set(SETS)
    assert {row["key"] for row in MEMBERS} <= set(PUBLISHED)
    assert {row["role"] for row in MEMBERS} == {"band", "context"}
    places = Counter((row["comparison_set"], row["key"]) for row in MEMBERS)
    assert max(places.values()) == 1


def test_definitions_stay_apart_unless_the_note_says_so() -> None:
    """Lateral and 3-D never share a band; an unstated definition only with a note."""
    for row in MEMBERS:
        measure = PUBLISHED[row["key"]]["measure"]
        if measure == row["measure"]:
            assert "does not say" not in row["note"]
        else:
            assert measure.replace("unspecified", "3d") == row["measure"]
            assert "does not say whether 3-D or lateral" in row["note"]


def test_only_means_make_a_band() -> None:
    means = {"mean", "pooled_mean", "study_mean_low", "study_mean_high"}
    for row in MEMBERS:
        if row["role"] == "band":
            assert PUBLISHED[row["key"]]["statistic"] in means


def test_a_band_has_two_means_or_one_with_its_interval() -> None:
    for comparison_set, measure in {
        (row["comparison_set"], row["measure"])
        for row in MEMBERS
        if row["role"] == "band"
    }:
        rows = band(comparison_set, measure)
        assert len(rows) > 1 or (rows[0]["ci_low"] and rows[0]["ci_high"])


@pytest.mark.parametrize(
    ("comparison_set", "measure", "low", "high"),
    [
        ("lower_mucosa_full", "entry_3d_mm", 1.23, 1.4),
        ("lower_mucosa_full", "entry_lateral_mm", 0.9, 1.18),
        ("lower_mucosa_full", "depth_size_mm", 0.58, 0.9),
        ("lower_mucosa_full", "apex_3d_mm", 1.46, 1.6),
        ("lower_mucosa_full", "angle_deg", 2.6, 4.67),
        ("lower_mucosa_full", "achieved_angle_deg", 4.32, 4.32),
        ("lab_made_guide", "entry_3d_mm", 1.13, 3.0),
        ("lab_made_guide", "apex_3d_mm", 0.96, 3.4),
        ("lab_made_guide", "angle_deg", 4.03, 8.4),
        ("freehand_edentulous", "entry_3d_mm", 2.7, 3.48),
        ("freehand_edentulous", "apex_3d_mm", 2.9, 3.6),
        ("freehand_edentulous", "angle_deg", 9.9, 10.09),
    ],
)
def test_lowest_and_highest_mean_of_each_band(
    comparison_set: str, measure: str, low: float, high: float
) -> None:
    """A change of a band changes verdicts, so it must be made here as well."""
    values = [float(row["value"]) for row in band(comparison_set, measure)]
    assert (min(values), max(values)) == (low, high)


def test_no_edge_of_a_band_rests_on_memory_alone_but_one_that_says_so() -> None:
    read = {
        (row["guidance"], float(row["value"]))
        for row in PUBLISHED.values()
        if row["source_status"] != "memory"
    }
    recalled = set()
    for comparison_set, measure in {
        (row["comparison_set"], row["measure"])
        for row in MEMBERS
        if row["role"] == "band"
    }:
        rows = sorted(
            band(comparison_set, measure), key=lambda row: float(row["value"])
        )
        recalled |= {
            row["key"]
            for row in (rows[0], rows[-1])
            if (row["guidance"], float(row["value"])) not in read
        }
    assert recalled == {"jaemsuwan2023_fh_apex"}
    note = next(row["note"] for row in MEMBERS if row["key"] in recalled)
    assert "recalled; not read anywhere" in note


def test_the_proxy_for_parallelism_is_labelled() -> None:
    note = next(
        row["note"] for row in MEMBERS if row["key"] == "yimarj2020_static_interimplant"
    )
    assert note.startswith("proxy, partial")


def test_conditions_of_a_set_use_the_words_of_the_record_sheet() -> None:
    codes = {field.field: field.codes for field in load.fields("cases")}
    for row in SETS.values():
        assert row["is_provisional"] in {"yes", "no"}
        assert row["caution"].endswith(".")
        assert row["edentulism"] in CODES["edentulism"]
        for column in ("jaw", "guide_support", "guidance", "guide_method"):
            assert set(filter(None, row[column].split("|"))) <= set(codes[column])
    assert [s for s, row in SETS.items() if row["is_provisional"] == "yes"] == [
        "lab_made_guide"
    ]


def test_a_case_matches_at_most_one_set() -> None:
    """Each pair of sets differs in guidance or in how the guide was made."""
    rows = list(SETS.values())
    for n, first in enumerate(rows):
        for second in rows[n + 1 :]:
            assert any(
                first[column]
                and second[column]
                and not set(first[column].split("|")) & set(second[column].split("|"))
                for column in ("guidance", "guide_method")
            )


def test_the_floor_is_the_difference_between_two_methods_rounded_up() -> None:
    floors = {row["measure_kind"]: row for row in load.rows("method_floor")}
    assert {(kind, row["unit"]) for kind, row in floors.items()} == {
        ("distance", "mm"),
        ("angle", "deg"),
    }
    for row in floors.values():
        largest = max(value(key) for key in row["source"].split(", "))
        step = {"mm": 0.1, "deg": 1.0}[row["unit"]]
        assert float(row["floor"]) == pytest.approx(math.ceil(largest / step) * step)


def test_errors_of_a_source_follow_from_the_published_differences() -> None:
    """rms² = mean² + sd², summed over the parts across and along the axis."""
    errors = {row["achieved_source"]: row for row in load.rows("source_errors")}
    key = "method_ios_vs_cbct_edent_{}".format
    depth = math.hypot(value(key("depth")), sd(key("depth")))
    expected = {
        f"{end}_sd_mm": math.hypot(
            value(key(f"{end}_lat")), sd(key(f"{end}_lat")), depth
        )
        for end in ("entry", "apex")
    }
    expected["angle_sd_deg"] = math.hypot(value(key("angle")), sd(key("angle")))
    for source in ("cbct", "scan_body"):
        for column, number in expected.items():
            assert float(errors[source][column]) == pytest.approx(number, abs=0.005)


def test_a_mean_distance_alone_is_turned_into_a_root_mean_square() -> None:
    """The factors are those of the Maxwell and Rayleigh distributions, by simulation.

    Their means per unit of one axis's sd, 1.596 and 1.253, are handbook values; here
    400,000 drawn errors give them again, so that no algebra of ours is trusted.
    """
    draws = np.random.default_rng(20).normal(size=(400_000, 3))
    distance, angle = (
        np.linalg.norm(draws, axis=1),
        np.linalg.norm(draws[:, :2], axis=1),
    )
    assert distance.mean() == pytest.approx(1.596, abs=0.004)
    assert angle.mean() == pytest.approx(1.253, abs=0.004)
    row = next(
        row
        for row in load.rows("source_errors")
        if row["achieved_source"] == "cast_scan"
    )
    printed = {"entry_sd_mm": 0.25, "apex_sd_mm": 0.28, "angle_sd_deg": 0.68}
    note = PUBLISHED["method_surface_vs_cbct_ios_entry"]["note"]
    assert "lab scan 0.25, 0.28 mm, 0.68 degrees" in note
    for column, mean in printed.items():
        drawn = angle if column.endswith("_deg") else distance
        rms = mean * math.sqrt((drawn**2).mean()) / drawn.mean()
        assert float(row[column]) == pytest.approx(rms, abs=0.006)


def test_sources_of_the_clinic_are_named_with_the_words_of_the_record_sheet() -> None:
    codes = {field.field: field.codes for field in load.fields("implants")}[
        "achieved_source"
    ]
    rows = load.rows("source_errors")
    assert {row["achieved_source"] for row in rows} <= set(codes)
    for row in rows:
        assert float(row["entry_sd_mm"]) > 0
        keys = re.findall(r"method_\w+", row["source"])
        assert keys
        assert set(keys) <= set(PUBLISHED)

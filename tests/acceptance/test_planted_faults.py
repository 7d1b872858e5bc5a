"""Faults that happen are found and named; clean records are left alone."""

import csv

import pytest

from pipeline.checked.checks import all_checks, by_id
from pipeline.checked.mending_words import mends
from tests.benchmarks.fault_kinds import KINDS
from tests.benchmarks.fault_records import SHAPES
from tests.benchmarks.fault_run import SERIOUS, Counts, benchmark
from tests.benchmarks.faults import (
    CLEAN,
    DIAGNOSED,
    FAULTS,
    FOUND,
    HELD,
    RESULTS,
    can_be_seen,
    share,
    told,
)


def committed(name):
    with (RESULTS / name).open(encoding="utf-8", newline="") as handle:
        first = handle.readline()
        return first, list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def small():
    """Every kind once at its middle strength, a file each."""
    counts = Counts(cases=1, files=1, beside=1, clean=24, strengths=(1,))
    return benchmark(20260, counts)


def test_serious_faults_of_every_kind_are_found(small):
    unseen = {
        one.kind.name
        for one in small.found
        if one.kind.severity in SERIOUS and can_be_seen(one) and not one.count_found
    }
    assert len(unseen) <= 0.05 * len(small.found), unseen


def test_most_faults_of_points_are_named_with_the_mend_that_undoes_them(small):
    of_points = [one for one in small.found if one.kind.is_of_points]
    assert share(of_points, "count_diagnosed") >= DIAGNOSED


def test_other_faults_are_named_by_the_check_that_belongs_to_them(small):
    others = [one for one in small.found if not one.kind.is_of_points]
    misnamed = {o.kind.name for o in others if o.count_found and not o.count_diagnosed}
    assert len(misnamed) <= 0.05 * len(others), misnamed


def test_clean_cases_are_left_alone_also_beside_faulty_ones(small):
    assert told(small)["clean_held"] <= HELD
    assert set(SHAPES) < set(small.clean)


def test_the_committed_results_are_of_every_kind_and_reach_what_they_should():
    first, rows = committed(FAULTS)
    assert "python -m tests.benchmarks.faults" in first
    assert "seed" in first
    kinds = {kind.name: kind for kind in KINDS}
    assert {(r["kind"], r["strength"]) for r in rows} == {
        (name, strength) for name in kinds for strength in "123"
    }
    assert {r["kind"]: r["severity"] for r in rows} == {
        name: kind.severity for name, kind in kinds.items()
    }

    def of(wanted):
        chosen = [
            r
            for r in rows
            if r["severity"] in SERIOUS
            and not kinds[r["kind"]].why_unseen[int(r["strength"]) - 1]
            and wanted(kinds[r["kind"]])
        ]
        total = sum(int(r["n"]) for r in chosen)
        return [
            sum(int(r[name]) for r in chosen) / total
            for name in ("count_found", "count_diagnosed")
        ]

    assert of(lambda _: True)[0] >= FOUND
    assert of(lambda kind: kind.is_of_points)[1] >= DIAGNOSED


def test_the_committed_clean_records_are_held_at_most_once_in_two_hundred():
    _, rows = committed(CLEAN)
    for row in rows:
        assert int(row["count_held"]) <= HELD * int(row["n_cases"]), row["shape"]
    assert sum(int(row["n_cases"]) for row in rows) >= 5000


def test_what_no_check_can_see_is_said_with_its_reason():
    page = (RESULTS / "README.md").read_text(encoding="utf-8")
    for kind in KINDS:
        for why in kind.why_unseen:
            assert why in page


def test_every_kind_names_checks_and_mends_that_there_are():
    known = {mend.name for mend in mends()} | {"none"}
    ids = set(by_id())
    assert len(all_checks()) == len(ids)
    for kind in KINDS:
        assert kind.shape in SHAPES
        assert set(kind.mends or ()) <= known
        for glob in kind.checks:
            assert "*" in glob or glob in ids, (kind.name, glob)

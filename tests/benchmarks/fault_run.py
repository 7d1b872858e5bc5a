"""Plant every kind of fault, check all records in one run, and count what was found."""

from __future__ import annotations

import copy
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Any

import numpy as np

from pipeline.checked.checks import by_id
from tests.benchmarks import (  # noqa: F401 - importing them registers their kinds
    fault_kinds_cells,
    fault_kinds_days,
    fault_kinds_figures,
    fault_kinds_points,
)
from tests.benchmarks.fault_kinds import KINDS, Kind
from tests.benchmarks.fault_records import (
    COARSE,
    PICKED,
    SHAPES,
    ManyRecords,
    Placed,
    Records,
    clean_cases,
    in_files,
    pick_points,
    records_of,
    round_figures,
    with_number,
)

STRENGTHS = (0, 1, 2)
CASES_A_FILE = 30
MOST_NAMED = 3
"""A diagnosis counts as right when the true mend is among at most so many named."""

SERIOUS = ("stop", "hold")


@dataclass(frozen=True)
class Planted:
    """One faulty case, or one faulty file."""

    kind: Kind
    strength: int
    placed: tuple[Placed, ...]


@dataclass
class Found:
    """What became of the faults of one kind and strength.

    Attributes:
        kind: the kind.
        strength: 0 to 2.
        n: faults planted.
        count_found: of them found: by a stop or hold where the kind is one, else by
            the warning that belongs to it.
        count_diagnosed: of them named rightly: the mend that undoes it is among those
            named (faults of points), or the check that belongs to it fired (others).
        count_alone: of them with the right mend named and no other beside it.
    """

    kind: Kind
    strength: int
    n: int = 0
    count_found: int = 0
    count_diagnosed: int = 0
    count_alone: int = 0


@dataclass
class Outcome:
    """All that was counted.

    Attributes:
        found: one for each kind and strength.
        clean: shape -> (clean cases, of them with a stop or hold).
    """

    found: list[Found] = field(default_factory=list)
    clean: dict[str, tuple[int, int]] = field(default_factory=dict)


@dataclass(frozen=True)
class Counts:
    """How much to plant.

    Attributes:
        cases: faulty cases of each kind and strength.
        files: faulty files, for kinds that are in a whole file.
        beside: clean cases in the files of faulty ones, by kind and strength.
        clean: clean cases of each shape, in files of their own.
        strengths: which of the three strengths.
    """

    cases: int = 40
    files: int = 12
    beside: int = 8
    clean: int = 960
    strengths: tuple[int, ...] = STRENGTHS


class Pools:
    """Clean cases to plant in, a shape at a time, the same for the same seed."""

    def __init__(self, count: int, seed: int) -> None:
        self._cases = clean_cases(count, seed)
        self._written: dict[tuple[str, int], Records] = {}
        self._next: dict[str, int] = defaultdict(int)

    def take(self, shape: str, number: str) -> Records:
        """The next case as records of a shape, under a number of its own."""
        place = self._next[shape] % len(self._cases)
        self._next[shape] += 1
        if (shape, place) not in self._written:
            self._written[shape, place] = records_of(self._cases[place], shape)
        return with_number(self._written[shape, place], number)


def plant_one(
    kind: Kind, strength: int, pools: Pools, name: str, draws: Any
) -> Records:
    """Return the rows of one case with the fault in it.

    Not every case can have every fault: a freehand case has no guide to mistake. The
    next ones are tried then.
    """
    for attempt in range(60):
        records = pools.take(kind.shape, f"{name}.{attempt}")
        before = copy.deepcopy(records)
        try:
            kind.plant(records, strength, draws)  # type: ignore[arg-type]
        except (LookupError, ValueError):
            continue
        if records != before:
            return records
    message = f"no case to plant {kind.name} in"
    raise LookupError(message)


def plant_file(
    kind: Kind, strength: int, pools: Pools, name: str, draws: Any
) -> list[Records]:
    """Return the cases of one file with the fault in it."""
    file = [pools.take(kind.shape, f"{name}.{place}") for place in range(CASES_A_FILE)]
    kind.plant(file, strength, draws)  # type: ignore[arg-type]
    return file


def planted_in(
    given: ManyRecords,
    kinds: Sequence[Kind],
    pools: Pools,
    seed: int,
    counts: Counts,
) -> Iterator[Planted]:
    """Plant every kind at every strength into an audit."""
    for kind in kinds:
        for strength in counts.strengths:
            draws = np.random.default_rng([seed, strength, *kind.name.encode()])
            name = f"{kind.name}.{strength}"
            if kind.is_of_file:
                for number in range(counts.files):
                    own = f"{name}.{number}"
                    file = plant_file(kind, strength, pools, own, draws)
                    placed = tuple(given.put(f"{own}.xlsx", one) for one in file)
                    yield Planted(kind, strength, placed)
            else:
                for number in range(counts.cases):
                    records = plant_one(
                        kind, strength, pools, f"{name}.{number}", draws
                    )
                    placed = given.put(f"{name}.{number // CASES_A_FILE}.xlsx", records)
                    yield Planted(kind, strength, (placed,))


class Findings:
    """The findings of a run, by row, case and file."""

    def __init__(self, given: ManyRecords) -> None:
        run = given.warehouse.run
        self.of_row: dict[int, set[str]] = defaultdict(set)
        self.of_case: dict[str, set[str]] = defaultdict(set)
        self.of_file: dict[str, set[str]] = defaultdict(set)
        for check_id, row_id, case_key, source in run(
            "select check_id, row_id, case_key, source from checked.findings"
        ):
            if row_id is not None:
                self.of_row[row_id].add(check_id)
            elif case_key is not None:
                self.of_case[case_key].add(check_id)
            else:
                self.of_file[source].add(check_id)
        self.mends = {
            case_key: (mend, *(others or "").split("|"))
            for case_key, mend, others in run(
                "select case_key, mend, other_mends from checked.diagnoses"
            )
        }

    def about(self, planted: Planted) -> set[str]:
        """Checks that found something in the rows, cases or file of a fault."""
        found: set[str] = set()
        for placed in planted.placed:
            for row_id in placed.row_ids:
                found |= self.of_row.get(row_id, set())
            for case_key in placed.case_keys:
                found |= self.of_case.get(case_key, set())
            if planted.kind.is_of_file:
                found |= self.of_file.get(placed.source, set())
        return found

    def mends_of(self, planted: Planted) -> tuple[str, ...]:
        """The mends named for the case of a fault, without empty ones."""
        (case_key,) = planted.placed[0].case_keys
        return tuple(name for name in self.mends.get(case_key, ()) if name)


def judge(planted: Planted, findings: Findings, found: Found) -> None:
    """Count one fault."""
    kind = planted.kind
    checks = findings.about(planted)
    named = any(fnmatchcase(c, glob) for c in checks for glob in kind.checks)
    serious = any(by_id()[c].severity in SERIOUS for c in checks)
    is_found = serious if kind.severity in SERIOUS else named
    found.n += 1
    found.count_found += is_found
    if not kind.mends:
        found.count_diagnosed += is_found and named
        return
    mends = findings.mends_of(planted)
    wanted = kind.mends[planted.strength]
    found.count_diagnosed += is_found and wanted in mends[:MOST_NAMED]
    found.count_alone += is_found and mends == (wanted,)


def benchmark(
    seed: int, counts: Counts | None = None, kinds: Sequence[Kind] = tuple(KINDS)
) -> Outcome:
    """Plant, check and count, all in one run of the checks.

    Args:
        seed: the same seed plants the same faults.
        counts: how much to plant.
        kinds: kinds of fault.
    """
    counts = counts or Counts()
    given = ManyRecords()
    pools = Pools(240, seed)
    planted = list(planted_in(given, kinds, pools, seed, counts))
    clean = {
        shape: put_clean(given, shape, counts.clean, seed + 1)
        for shape in (*SHAPES, *COARSE, *PICKED)
    }
    others = Pools(240, seed + 2)  # not the same cases again: those would be copies
    clean["beside_faults"] = list(put_beside(given, planted, others, counts.beside))
    given.checked()
    findings = Findings(given)
    outcome = Outcome()
    by_kind: dict[tuple[str, int], Found] = {}
    for one in planted:
        key = (one.kind.name, one.strength)
        if key not in by_kind:
            by_kind[key] = Found(one.kind, one.strength)
        judge(one, findings, by_kind[key])
    outcome.found = list(by_kind.values())
    for shape, cases in clean.items():
        held = sum(is_set_aside(placed, findings) for placed in cases)
        outcome.clean[shape] = (len(cases), held)
    return outcome


def put_beside(
    given: ManyRecords, planted: Sequence[Planted], pools: Pools, count: int
) -> Iterator[Placed]:
    """Add clean cases to the files of faulty ones: they must not be held with them."""
    files = {
        one.placed[0].source: one.kind.shape
        for one in planted
        if not one.kind.is_of_file and one.placed[0].source.endswith(".0.xlsx")
    }
    for source, shape in files.items():
        for number in range(count):
            yield given.put(source, pools.take(shape, f"beside {source} {number}"))


def put_clean(given: ManyRecords, shape: str, count: int, seed: int) -> list[Placed]:
    """Add clean cases that no fault was planted in, in files of a clinic's size."""
    placed = []
    draws = np.random.default_rng(seed)
    for number, lot in enumerate(in_files(clean_cases(count, seed), 48)):
        for case in lot:
            name = f"clean {shape} {number} {case.case_id}"
            written = records_of(case, (COARSE | PICKED).get(shape, shape))
            records = with_number(written, name)
            if shape in COARSE:
                round_figures(records)
            if shape in PICKED:
                pick_points(records, draws)
            placed.append(given.put(f"clean {shape} {number}.xlsx", records))
    return placed


def is_set_aside(placed: Placed, findings: Findings) -> bool:
    """Tell whether a stop or hold is about the case or one of its rows."""
    checks = set[str]()
    for row_id in placed.row_ids:
        checks |= findings.of_row.get(row_id, set())
    for case_key in placed.case_keys:
        checks |= findings.of_case.get(case_key, set())
    return any(by_id()[check].severity in SERIOUS for check in checks)

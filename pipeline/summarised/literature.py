"""summarised.published_matches and .pooled_published: the literature behind a verdict.

Every published figure about a measure that got a verdict is held against the clinic's
comparison, key by key, and what does not match is written down, for the figures that
make the band as well as for those that were refused. Single studies of a set are pooled
beside the band; a pooled mean never changes a verdict. How the achieved position was
measured is seldom printed, so that key cannot be matched.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.reference import load
from pipeline.statistics.pooling import METHODS, Method, pooled_mean
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

MATCHES = "summarised.published_matches"
POOLED = "summarised.pooled_published"

SEVERAL = {"both": "both together", "mixed": "several together"}
"""Words of a published figure that stand for several kinds together."""

SAID = {
    "3d": "3-D",
    "unspecified": "3-D or lateral not stated",
    "max": "largest value",
    "p95": "95th percentile",
    "study_mean_low": "lowest of several study means",
    "study_mean_high": "highest of several study means",
    "bench": "models",
    "cadaver": "cadavers",
}
"""How codes read in a reason; the others read as they stand."""

LAB_MADE = {"lab_made": ("surveyor", "thermoformed")}
"""Published words for how a guide was made that stand for several of the sheet's."""

MEANS = ("mean", "pooled_mean")
CLINICAL = ("cohort", "trial")

Row = Mapping[str, str]


@makes(MATCHES, POOLED, reads=("summarised.verdicts",))
def make_literature(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make both tables.

    Grain: comparison_set, measure, key; and comparison_set, measure, method.
    """
    judged = warehouse.run(
        "select distinct comparison_set, measure from summarised.verdicts order by all"
    )
    sets = {row["comparison_set"]: row for row in load.rows("comparison_sets")}
    matches, pooled = [], []
    for name, measure in judged:
        matches += matches_of(sets[name], measure)
        pooled += [
            pooled_of(sets[name], measure, method, parameters["settings"].pool_keys)
            for method in METHODS
        ]
    write_rows(warehouse, MATCHES, matches)
    write_rows(warehouse, POOLED, pooled)


def misses(published: Row, chosen: Row, measure: str) -> dict[str, str]:
    """Return what of a published figure does not match a comparison, by key.

    Args:
        published: a row of published_accuracy.csv.
        chosen: a row of comparison_sets.csv; an empty cell asks for nothing.
        measure: the measure compared.
    """
    found = {}
    for key in ("jaw", "edentulism", "guide_support", "guidance", "guide_method"):
        wanted = set(filter(None, chosen[key].split("|")))
        has = published[key]
        if wanted and not wanted & {has, *LAB_MADE.get(has, ())}:
            found[key] = _unlike(has, wanted)
    if published["measure"] != measure:
        found["definition"] = _unlike(_form(published["measure"]), {_form(measure)})
    if published["statistic"] not in MEANS:
        found["statistic"] = _unlike(published["statistic"], {"mean"})
    if published["design"] in {"bench", "cadaver"}:
        found["design"] = _unlike(published["design"], {"patients"})
    if published["source_status"] == "memory":
        found["source"] = "recalled, not read"
    return found


def _form(measure: str) -> str:
    """Return what a measure's name says between its subject and its unit."""
    return "_".join(measure.split("_")[1:-1])


def _unlike(has: str, wanted: set[str]) -> str:
    if not has:
        return "not stated"
    if has in SEVERAL:
        return SEVERAL[has]
    asked = " or ".join(sorted(_said(word) for word in wanted))
    return f"{_said(has)} instead of {asked}"


def _said(code: str) -> str:
    return SAID.get(code, code.replace("_", " "))


def matches_of(chosen: Row, measure: str) -> list[dict[str, Any]]:
    """Return every published figure on what a measure is about, whatever its form."""
    band = {row["key"]: row for row in members(chosen, measure) if _is_band(row)}
    stem = measure.partition("_")[0]
    rows = []
    for published in load.rows("published_accuracy"):
        key = published["key"]
        if key not in band and published["measure"].partition("_")[0] != stem:
            continue
        unlike = misses(published, chosen, measure)
        rows.append(
            {
                "comparison_set": chosen["comparison_set"],
                "measure": measure,
                "key": key,
                "citation": published["citation"],
                "published_measure": published["measure"],
                "statistic": published["statistic"],
                "value": float(published["value"]),
                "is_in_band": key in band,
                "count_misses": len(unlike),
                "reason": "; ".join(
                    f"{name.replace('_', ' ')}: {why}" for name, why in unlike.items()
                ),
            }
        )
    return rows


def members(chosen: Row, measure: str) -> list[Row]:
    """Return the members of a set for a measure."""
    return [
        row
        for row in load.rows("comparison_members")
        if (row["comparison_set"], row["measure"])
        == (chosen["comparison_set"], measure)
    ]


def _is_band(member: Row) -> bool:
    return member["role"] == "band"


def candidates(chosen: Row, measure: str, own_keys: Sequence[str] = ()) -> list[Row]:
    """Return the published figures on a measure's subject that may come into a pool.

    Args:
        chosen: a row of comparison_sets.csv.
        measure: the measure compared.
        own_keys: figures the reader chose; where none is on the subject, and without
            any, the members of the set.
    """
    published = {row["key"]: row for row in load.rows("published_accuracy")}
    stem = measure.partition("_")[0]
    own: list[Row] = [
        published[key]
        for key in own_keys
        if published[key]["measure"].partition("_")[0] == stem
    ]
    return own or [published[row["key"]] for row in members(chosen, measure)]


def refusal(published: Row, chosen: Row, measure: str) -> str | None:
    """Say why a published figure cannot be pooled for a comparison; None where it can.

    Means of single clinical studies that were read, by the same definition, in jaws as
    edentulous and not by another guidance, with an SD and a number of patients. A
    review's pooled mean holds such studies already and stays out. Upper or lower is not
    asked for: no difference between jaws is established. What does not match is said
    beside the result.
    """
    unlike = misses(published, chosen, measure)
    if published["statistic"] != "mean" or published["design"] not in CLINICAL:
        return "no mean of a single clinical study"
    for key in ("definition", "edentulism", "source"):
        if key in unlike:
            return f"{key}: {unlike[key]}"
    if "instead of" in unlike.get("guidance", ""):
        return f"guidance: {unlike['guidance']}"
    if not (published["sd"] and published["n_patients"]):
        return "no SD or no number of patients printed"
    return None


def studies(chosen: Row, measure: str, own_keys: Sequence[str] = ()) -> list[Row]:
    """Return the published figures that are pooled."""
    return [
        row
        for row in candidates(chosen, measure, own_keys)
        if refusal(row, chosen, measure) is None
    ]


def variance_of(study: Row) -> float:
    """Return the squared standard error of a study's mean.

    SD between implants over the square root of the number of patients: the patient is
    the unit, as if the implants of one mouth told no more than one. On the safe side.
    """
    return float(study["sd"]) ** 2 / int(study["n_patients"])


def pooled_of(
    chosen: Row, measure: str, method: Method, own_keys: Sequence[str] = ()
) -> dict[str, Any]:
    """Return the row of a set and measure in summarised.pooled_published."""
    among = candidates(chosen, measure, own_keys)
    used = studies(chosen, measure, own_keys)
    refused = [
        f"{row['citation']}, {row['key']} ({why})"
        for row in among
        if (why := refusal(row, chosen, measure)) is not None
    ]
    pooled = pooled_mean(
        [float(row["value"]) for row in used],
        [variance_of(row) for row in used],
        method,
    )
    return {
        "comparison_set": chosen["comparison_set"],
        "measure": measure,
        "method": method,
        "n_studies": pooled.n_studies,
        "n_patients": sum(int(row["n_patients"]) for row in used),
        "mean": pooled.mean,
        "mean_low": pooled.low,
        "mean_high": pooled.high,
        "prediction_low": pooled.prediction_low,
        "prediction_high": pooled.prediction_high,
        "tau2": pooled.tau2,
        "i2": pooled.i2,
        "studies": "; ".join(row["citation"] for row in used),
        "study_keys": "; ".join(row["key"] for row in used),
        "is_own_choice": any(row["key"] in own_keys for row in among),
        "refused": "; ".join(refused),
        "unlike": _all_unlike(used, chosen, measure),
        "note": pooled.warning,
    }


def _all_unlike(used: Sequence[Row], chosen: Row, measure: str) -> str:
    """Say which keys of how many studies do not match."""
    counts: dict[str, int] = {}
    for row in used:
        for key, why in misses(row, chosen, measure).items():
            said = f"{key.replace('_', ' ')}: {why}"
            counts[said] = counts.get(said, 0) + 1
    return "; ".join(f"{said} ({n} of {len(used)})" for said, n in counts.items())

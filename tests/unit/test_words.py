"""Every word a page needs is there, said carefully, and none lies unused."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.bundled import folder
from pipeline.reference import load
from pipeline.reported import wording
from pipeline.reported.wording import (
    Words,
    code_in_groups,
    limit,
    measures,
    median_of,
    number,
    percent,
)

BOOK = tomllib.loads((folder("reports") / "words" / "en.toml").read_text("utf-8"))


def sentences(node):
    if isinstance(node, dict):
        for part in node.values():
            yield from sentences(part)
    elif isinstance(node, list):
        yield from node
    else:
        yield node


@pytest.mark.parametrize(
    ("amount", "digits", "is_signed", "text"),
    [
        (1.25, 1, False, "1.2"),  # half to even, as IEEE 754 rounds 1.25
        (-0.04, 1, True, "0.0"),
        (0.04, 1, True, "0.0"),
        (-1.36, 1, True, "−1.4"),
        (1.36, 1, True, "+1.4"),
        (12345.0, 0, False, "12\u00a0345"),
        (None, 1, False, "–"),
    ],
)
def test_numbers_carry_true_signs_and_no_sign_at_zero(amount, digits, is_signed, text):
    assert number(amount, digits, is_signed=is_signed) == text


def test_limits_are_printed_as_people_set_them():
    assert limit(10.0) == "10"
    assert limit(2.5) == "2.5"
    assert limit(2.0, 1) == "2"


def test_shares_are_whole_percentages():
    assert percent(0.915) == "92\u00a0%"
    assert percent(1.0) == "100\u00a0%"


def test_codes_are_read_in_groups_of_four():
    assert code_in_groups("QJLEQMGGU4YK") == ["QJLE", "QMGG", "U4YK"]


def test_median_of_even_and_odd_numbers():
    assert median_of([3.0, 1.0, 2.0]) == 2.0
    assert median_of([4.0, 1.0, 2.0, 3.0]) == 2.5


def test_nouns_agree_with_their_number():
    words = Words()
    assert words.count("case", 1) == "1\u00a0case"
    assert words.count("case", 0) == "0\u00a0cases"


def test_sources_are_said_in_words_once_whatever_joins_them():
    words = Words()
    assert words.sources("coordinates, cbct") == "volume scan"
    assert words.sources("ready, cbct; coordinates, cbct") == (
        "ready-made figures, volume scan"
    )


def test_a_missing_word_is_a_fault_not_a_blank():
    with pytest.raises(KeyError):
        Words()("no.such.word")


def test_every_code_of_a_grouping_has_its_word():
    words = Words()
    for field in load.fields():
        wanted = {row["column"] for row in load.rows("groupings") if row["column"]}
        if field.field in wanted and field.kind == "code":
            for code in field.codes:
                assert words.has(f"group_value.{code}"), code


def test_every_source_of_an_achieved_position_has_its_word():
    known = Words().table("source")
    for field in load.fields():
        if field.field == "achieved_source" or (
            field.sheet == "pair_readings" and field.field == "source"
        ):
            assert set(field.codes) <= set(known)


def test_every_kind_of_harm_has_its_word():
    words = Words()
    kinds = {row["event"] for row in load.rows("events") if row["is_harm"] == "yes"}
    for kind in kinds | {"deeper_than_margin"}:
        assert words.has(f"harm.kind.{kind}")


def test_every_kind_of_published_source_has_its_word():
    words = Words()
    for row in load.rows("published_accuracy"):
        assert words.has(f"design.{row['design']}"), row["design"]
        assert words.has(f"read.{row['source_status']}"), row["source_status"]


def test_every_stage_of_completeness_has_its_short_word():
    select = (folder("sql") / "summarised" / "completeness.sql").read_text("utf-8")
    stages = re.findall(r"\('([^']+)', \d", select)
    assert stages
    assert set(stages) == set(Words().table("stage"))


def test_no_word_asks_for_an_exposure():
    """No radiograph is taken for an audit; only the caution that says so speaks of one."""
    for sentence in sentences(BOOK):
        if re.search(r"radiograph|exposure", sentence):
            assert sentence.startswith("No exposure for an audit.")
        assert not re.search(r"(take|repeat|order|make) (a|an|another) (film|scan|cbct)", sentence, re.IGNORECASE)  # fmt: skip


@pytest.mark.parametrize(
    "word",
    ["failure", "blame the", "bad surgeon", "accurate", "worst", "best", "fiducial", "registration", "basis of measuring", "held", "sleeve"],
)  # fmt: skip
def test_words_a_clinician_would_stumble_on_are_not_used(word):
    said = [
        sentence
        for key, part in BOOK.items()
        if key != "definitions"
        for sentence in sentences(part)
    ]
    found = [text for text in said if re.search(rf"\b{word}\b", text)]
    allowed = [text for text in found if "is not held" in text]
    assert found == allowed


def test_axes_never_speak_of_x_y_and_z():
    for known in measures().values():
        assert not re.search(r"\b[xyz]\b", f"{known.label} {known.sentence}")


BY_CODE = (
    "axis_unit", "budget.column", "budget.component", "budget.key", "budget.part", "budget.slice", "budget.whole",
    "budget.vector", "count", "discuss.name", "cycle", "design", "forest.key", "group_value", "harm.kind", "header.fact",
    "causes.column", "causes.play", "causes.said", "causes.group",
    "meaning.figure", "meaning.word", "measures", "pairs.tip", "reached", "reached_sign",
    "read", "side", "source", "stage", "status", "strip.key", "unit", "verdict.sign",
    "verdict.word", "waits.what", "actions", "definitions", "definitions.kind",
    "definitions.checks.line", "definitions.checks.level", "definitions.checks.limit",
    "definitions.checks.sets_aside",
    "funnel", "funnel.title", "funnel.unit", "funnel.units",
    "programme.limit", "programme.no_signal", "programme.score", "programme.setting", "programme.signal",
    "years_after.period", "years_after.kind_of", "years_after.field", "years_after.measure",
    "years_after.angles.measure", "years_after.angles.held", "years_after.angles.cut.at_most",
    "years_after.angles.cut.below",
    "parallelism.column", "parallelism.quantity", "parallelism.said",
    "lab_return.kind", "lab_return.fit_word", "lab_return.column", "lab_return.quantity", "lab_return.short",
    "wear.aria", "wear.key", "wear.column",
    "left_right.column", "centres.given", "centres.key",
    "room.column", "room.question", "room.wanted", "room.untold", "room.first", "plans.quantity",
    "literature.column", "literature.defined", "outcomes.column", "outcomes.state", "methods.column", "methods.state",
    "factors.column", "factors.model",
    "learning.for", "adjusted.for", "attribution.factor", "attribution.answer",
    "as_good.column", "as_good.aim", "as_good.verdict",
    "method_error.column", "sensitivity.column", "sensitivity.variant",
    "characteristics.column", "characteristics.of", "deviations.column", "flow.box", "flow.column", "flow.fate",
)  # fmt: skip
"""Groups whose words are picked by a code, a measure or a column of a table."""


def keys_of(node, before=""):
    for key, part in node.items():
        if isinstance(part, dict):
            yield from keys_of(part, f"{before}{key}.")
        else:
            yield before + key


def test_no_word_lies_unused():
    sources = [
        path.read_text(encoding="utf-8")
        for root, ending in (
            (folder("reports"), "*.jinja"),
            (Path(wording.__file__).parent, "*.py"),
        )
        for path in root.rglob(ending)
    ]
    text = "\n".join(sources)
    unused = [
        key
        for key in keys_of(BOOK)
        if not re.search(rf"""['"]{re.escape(key)}['"]""", text)
        and key.rpartition(".")[0] not in BY_CODE
        and not key.startswith("count.")
    ]
    assert unused == []

"""The clinic review says whether it is the guide or the hand, and names no cause alone."""

import html
import re
from itertools import pairwise

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import clinic_page
from pipeline.reported.sections.error_budget import COLOURS, TABLE, content
from pipeline.reported.wording import Words
from pipeline.warehouse import Warehouse
from tests.integration import report_tables as tables_of
from tests.integration.report_tables import code

SD = {
    "left_right": (0.5, 0.12, 0.35, 0.15),
    "depth": (0.35, 0.14, 0.0, 0.15),
    "frontal_lean": (1.6, 0.55, 1.9, 0.7),
    "sagittal_lean": (0.0, 0.4, 1.8, 0.7),
}


def part(component, name, sd, *, has_limits=True):
    return {
        "group_by": "overall",
        "group_value": "all",
        "sources": "coordinates, cbct",
        "n_cases": 30,
        "n_pairs": 24,
        "component": component,
        "part": name,
        "unit": "deg" if component.endswith("lean") else "mm",
        "sd": sd,
        "low": 0.6 * sd if has_limits else None,
        "high": 1.7 * sd if has_limits else None,
    }


def budget(*, n_pairs=24, p=0.0002, superimposed=True):
    """Return rows of the four tables the section reads."""
    parts = []
    for component, (common, registered, own, reading) in SD.items():
        parts += [
            part(component, "bias", -0.2),
            part(component, "common", common),
            part(component, "own", own),
            part(component, "reading", reading, has_limits=False),
        ]
        if superimposed:
            parts.append(part(component, "registration", registered, has_limits=False))
    parts += [
        part("facial_position", "bias", 0.1),
        part("facial_position", "undivided", 0.7),
    ]
    head = {key: parts[0][key] for key in ("group_by", "group_value", "sources")}
    share = {
        **head,
        "component": "overall",
        "n_cases": 30,
        "n_pairs": n_pairs,
        "note": "a note of the summary",
    }
    if n_pairs >= 8:
        share |= {
            "share": 0.66,
            "share_low": 0.41,
            "share_high": 0.8,
            "p": p,
            "seen_share": 0.91,
            "null_share": 0.76,
        }
        if superimposed:
            share |= {"beyond_share": 0.59, "beyond_low": 0.33, "beyond_high": 0.75}
    return {
        "summarised.error_budget": parts if n_pairs >= 8 else [],
        "summarised.common_share": [share],
        "summarised.bias": [
            {
                "vector": "lean",
                "measures": "frontal_tilt_change_deg",
                "sources": "coordinates, cbct",
                "n_patients": 24,
                "n_implants": 48,
                "size": 2.1,
                "unit": "deg",
                "p": 0.004,
            }
        ],
        "summarised.influence": [
            {
                "measure": "entry_3d_mm",
                "kind": "mean",
                "subject": "all cases",
                "sources": "coordinates, cbct",
                "n_patients": 24,
                "case_key": code(3),
                "mean": 1.62,
                "mean_without": 1.41,
                "is_flagged": True,
                "reason": "unusual among the others",
            },
            {
                "measure": "entry_3d_mm",
                "kind": "verdict",
                "subject": "lower_mucosa_full",
                "sources": "coordinates, cbct",
                "n_patients": 24,
                "case_key": code(3),
                "mean": 1.62,
                "mean_without": 1.41,
                "is_flagged": True,
                "reason": "rests on single cases: worse with it, inside without it",
            },
        ],
    }


def made(**changes):
    warehouse = Warehouse()
    tables_of.fill(warehouse, tables_of.clinic() | budget(**changes))
    return AuditTables(warehouse, tables_of.WRITTEN_AT, Words())


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """Return the text of a page; each kind is written once."""
    library, kept = tmp_path_factory.mktemp("library"), {}

    def text(**changes):
        key = tuple(changes.items())
        if key not in kept:
            audit = made(**changes)
            with audit.warehouse:
                whole = clinic_page(audit, cache_folder=library)
            shown = re.sub(r"<[^>]+>", "", whole.partition("<script")[0])
            kept[key] = re.sub(r"\s+", " ", html.unescape(shown)).replace("\xa0", " ")
        return kept[key]

    return text


def test_the_sentence_names_guide_and_superimposition_together(page):
    text = page()
    assert "about 66 % (95 % interval 41 to 80 %) of the scatter is guide or" in text
    assert "nothing in common (p < 0.001, signs of one side" in text
    assert "2.1° on average, more than chance explains (p = 0.004, 24 patients)" in text
    assert "59 % (33 to 75 %) is left for the guide or a worse superimposition" in text
    for found in re.finditer(r"[^.:;]*both (?:implants|together)[^.;]*", text):
        if "guide" in found.group():
            assert "superimposition" in found.group(), found.group()


def test_forward_position_is_said_to_be_indivisible(page):
    text = page()
    assert "How far forward the implants stand cannot be divided" in text
    assert text.count("cannot be divided") >= 2


def test_without_a_known_error_of_superimposing_nothing_is_taken_off(page):
    text = page(superimposed=False)
    assert "its error is not known, so it is not taken off" in text
    assert "is left for the guide" not in text
    with made(superimposed=False).warehouse as warehouse:
        section = content(AuditTables(warehouse, tables_of.WRITTEN_AT, Words()))
    assert COLOURS["superimposed"] not in {
        bar["colour"] for bar in section.tables[TABLE]
    }


def test_chance_is_not_called_a_finding(page):
    text = page(p=0.21)
    assert "cannot be told from chance here" in text
    assert "more than chance explains: about" not in text


def test_few_pairs_carry_a_caution_and_fewer_are_not_drawn(page):
    assert "Too few pairs to divide with confidence: below 15" in page(n_pairs=12)
    text = page(n_pairs=7)
    assert "How the scatter around the plan divides" not in text
    assert (
        "what both implants did together, and what each by itself from 8 pairs" in text
    )
    assert "(now 7)" in text


def test_the_mean_without_a_case_names_its_code_and_flags_with_the_reason(page):
    text = page()
    groups = "".join(code(3)[i : i + 4] for i in (0, 4, 8))
    assert f"mean 1.6 mm; without case {groups} it is 1.4 mm." in text
    assert "This case is unusual among the others" in text
    assert "rests on single cases: worse with it, inside without it" in text


def test_bars_fill_from_none_to_all_without_gaps():
    with made().warehouse as warehouse:
        section = content(AuditTables(warehouse, tables_of.WRITTEN_AT, Words()))
    by_component = {}
    for bar in section.tables[TABLE]:
        by_component.setdefault(bar["component"], []).append(bar)
    assert len(by_component) == 6  # with the guide as made, not known here
    for bars in by_component.values():
        assert bars[0]["start"] == 0
        assert bars[-1]["end"] == pytest.approx(1, abs=1e-3)
        for left, right in pairwise(bars):
            assert left["end"] == pytest.approx(right["start"], abs=1e-3)


def test_the_section_stands_under_more_and_only_the_waiting_line_on_the_sides(page):
    text = page()
    place = text.index("Both implants together, or each by itself")
    assert place > text.index("Distributions")
    assert place > text.index("Waiting for more cases:")


def test_an_audit_without_pairs_has_no_section(tmp_path):
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables_of.clinic())
        assert content(AuditTables(warehouse, tables_of.WRITTEN_AT, Words())) is None


def test_a_guide_that_was_never_read_is_said_to_be_not_known(page):
    assert (
        "Guide as made: not known. No guide was read between plan and result" in page()
    )


def test_a_guide_that_was_read_stands_apart_in_picture_and_sentence():
    row = {
        "quantity": "frontal_convergence_deg",
        "unit": "deg",
        "sources": "pair, guide read by surveyor, result by surveyor",
        "n_patients": 17,
        "lab_sd": 1.0,
        "lab_low": 0.7,
        "lab_high": 1.6,
        "lab_share": 0.2,
        "clinical_sd": 2.0,
        "clinical_low": 1.5,
        "clinical_high": 3.1,
        "covariance": 0.1,
        "note": "read once",
    }
    few = row | {"quantity": "spacing_mm", "unit": "mm", "n_patients": 5}
    few |= {name: None for name in row if name.startswith(("lab_", "clinical_"))}
    warehouse = Warehouse()
    rows = {"summarised.guide_slices": [row, few]}
    tables_of.fill(warehouse, tables_of.clinic() | budget() | rows)
    with warehouse:
        section = content(AuditTables(warehouse, tables_of.WRITTEN_AT, Words()))
    seen, too_few = (
        line.replace("\xa0", " ") for line in section.context["budget"]["guide"]
    )
    assert "20 % of the scatter was in the guide as made, SD 1.00° (0.70 to" in seen
    assert "too few to say, 5 patients" in too_few
    lane = [b for b in section.tables[TABLE] if b["component"].startswith("Guide")]
    assert [(b["start"], b["end"]) for b in lane] == [(0, 0.2), (0.2, 1.0)]

"""The return to the laboratory: its own guides, against plan, and nobody's identity."""

import html
import re

import numpy as np
import pytest
from scipy import stats

from pipeline import audit as audits
from pipeline import commands
from pipeline.bundled import folder as bundled
from pipeline.records.codes import Codebook
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import write_lab_returns
from pipeline.reported.sections import lab_part
from tests.audits import audit_of, fill, opened, quiet
from tests.integration.report_tables import WRITTEN_AT
from tests.integration.test_practitioner_records import PAIR, SITES, angles, site

LABS = ("Aldermoor bench", "Bracken castings")
OFF = np.array([2.5, -1.0, 3.5, 1.5, 4.0, 0.5, 2.0])
"""Guide as made less plan, frontal convergence in degrees: laboratory Aldermoor, C1 to C7."""

PLANNED = np.array([1.0, 2.0, -1.5, 3.0, 0.5, 2.5, -2.0])
CLINICAL = np.array([7.7, -6.3, 8.1, 5.9, -9.2, 6.6, 7.3])
"""What surgery added; no business of the laboratory."""

LOT = "R-1 <b>new</b>"
GUIDES = "guide_id,case_id,job_no,kind,step,made_date,maker,lab,material_lot,fit,used,remake_of\n"
PEOPLE = ("Quillmoss", "Tarnfell", "Ostwick", "Undermere")
"""Operator, supervisor, maker of the in-house bench, and one who makes and operates."""


def sheets():
    operator, supervisor, maker, both = PEOPLE
    cases = ["case_id,patient_id,surgery_date,operator,supervisor,guide_lab"]
    guides, readings = [], PAIR
    for number, (planned, off, more) in enumerate(
        zip(PLANNED, OFF, CLINICAL, strict=True), 1
    ):
        name = f"C{number}"
        cases.append(f"{name},P{number},2025-03-{number:02d},{operator},{supervisor},")
        fit = "rocks" if number == 2 else "full"
        lot = LOT if number < 4 else "R-2"
        # the slip of C5 carries a job number only
        case, job = ("", "J5") if number == 5 else (name, "")
        guides.append(
            f"G{number},{case},{job},surgical,,2025-02-{number:02d},Zed,{LABS[0]},{lot},{fit},as_planned,"
        )
        for state, at in (
            ("planned", planned),
            ("guide", planned + off),
            ("achieved", planned + off + more),
        ):
            readings += angles(name, state, float(np.round(at, 2)))
    # a guide that was made again, in two steps; laboratory Bracken, one case
    cases.append(f"C8,P8,2025-04-01,{both},{supervisor},{LABS[1]}")
    guides += [
        f"G8,C8,,surgical,,2025-03-02,,{LABS[1]},R-9,gap,abandoned,",
        f"G9,C8,,surgical,1,2025-03-12,,{LABS[1]},R-9,full,as_planned,G8",
        f"G9,C8,,surgical,2,2025-03-12,,{LABS[1]},R-9,full,as_planned,G8",
    ]
    readings += angles("C8", "planned", 1.0) + angles("C8", "guide", 1.4)
    # a case that names its laboratory and has no slip
    cases.append(f"C9,P9,2025-04-11,{operator},,{LABS[1]}")
    # two in-house makers, one of whom also operates
    cases += [f"C10,P10,2025-04-21,{operator},,", f"C11,P11,2025-04-25,{both},,"]
    guides += [
        f"G10,C10,,surgical,,2025-04-02,{maker},,,full,as_planned,",
        f"G11,C11,,surgical,,2025-04-03,{both},,,full,as_planned,",
    ]
    return {
        "cases.csv": "\n".join(cases) + "\n",
        "guides.csv": GUIDES + "\n".join(guides) + "\n",
        "pair_readings.csv": readings,
        "numbers.csv": "case_id,practice_no,job_no\nC5,P5,J5\n",
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The audit's folder, the pages by name of who made the guides, and the codes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        folder = audit_of(
            tmp_path_factory.mktemp("lab") / "a", sheets(), up_to="summarised"
        )
        code_of = Codebook(audits.open_folder(folder).settings()).code_of
        codes = {
            "case": [code_of("case", f"C{n}") for n in range(1, 12)],
            "patient": [code_of("patient", f"P{n}") for n in range(1, 12)],
            "person": [code_of("person", name) for name in (*PEOPLE, "Zed")],
            "lab": [code_of("lab", name) for name in LABS],
            "guide": [code_of("guide", f"G{n}") for n in range(1, 12)],
        }
    with opened(folder) as audit:
        written = write_lab_returns(AuditTables(audit, WRITTEN_AT), folder / "reports")
    return folder, {path.stem: path.read_text("utf-8") for path in written}, codes


def text_of(page):
    shown = re.sub(r"<[^>]+>", " ", page.partition("<script")[0].partition("<main>")[2])
    return re.sub(r"\s+", " ", html.unescape(shown).replace("\xa0", " "))


def rows_of(made, table):
    with opened(made[0]) as audit:
        return audit.frame(f"select * from summarised.{table}")


def test_each_laboratory_has_a_page_and_one_who_also_operates_has_none(made):
    _, pages, codes = made
    in_house = codes["person"][PEOPLE.index("Ostwick")]
    assert set(pages) == {*codes["lab"], in_house}


def test_no_page_names_a_patient_a_case_or_a_person(made):
    """Codes are looked for whole and as they are printed, in groups of four."""
    folder, pages, codes = made
    with opened(folder) as audit:
        known = audit.frame(
            "select case_key, patient_key, operator_code from measured.cases"
        )
    assert set(known["patient_key"]) == set(codes["patient"])
    assert set(known["operator_code"]) < set(codes["person"])
    for code, page in pages.items():
        others = {*codes["case"], *codes["patient"], *codes["person"], *codes["lab"]}
        plain = page.replace("</span><span>", "")
        for other in others - {code}:
            assert other not in plain
        assert not re.search(r"\b(rank|best|worst|league)\b", text_of(page), re.IGNORECASE)  # fmt: skip
        for name in (*PEOPLE, "Zed", *LABS):
            assert name not in page


def test_the_laboratory_finds_its_own_guides_by_their_codes_and_no_others(made):
    _, pages, codes = made
    plain = pages[codes["lab"][0]].replace("</span><span>", "")
    own, others = codes["guide"][:7], codes["guide"][7:]
    assert all(code in plain for code in own)
    assert not any(code in plain for code in others)


def test_the_lab_part_is_guide_less_plan_with_students_interval(made):
    """`scipy.stats.ttest_1samp` on guide less plan; what surgery added is not in it."""
    lab = made[2]["lab"][0]
    row = rows_of(made, "lab_return").query("lab_code == @lab").iloc[0]
    low, high = stats.ttest_1samp(OFF, 0).confidence_interval()
    assert row[["mean", "low", "high"]].tolist() == pytest.approx(
        [OFF.mean(), low, high]
    )
    assert (row["n_guides"], row["largest"]) == (7, pytest.approx(4.0))
    said = text_of(made[1][lab])
    limits = f"{low:+.1f} to {high:+.1f}"
    sd = OFF.std(ddof=1)
    assert f"+1.9° {limits}, few guides {sd:.1f}° 4.0° 7 guides" in said
    for added in CLINICAL:
        assert f"{abs(added):.1f}" not in said


def test_guides_fit_remakes_and_lots_are_counted_once_a_guide(made):
    _, pages, codes = made
    first, second = (text_of(pages[code]) for code in codes["lab"])
    assert "7 surgical. Fit at try-in: full 6 of 7; rocking 1, with a gap 0" in first
    assert f"{LOT} 3 2 of 3 0" in first
    assert "3 surgical. Fit at try-in: full 1 of 2; rocking 0, with a gap 1" in second
    assert "Remade later: 1 of 3 guides; made in place of another: 1 guide." in second


def test_what_was_read_of_a_guide_belongs_to_the_one_that_was_used(made):
    parts = rows_of(made, "lab_parts").query("lab_code == @made[2]['lab'][1]")
    assert parts["guide_code"].tolist() == [made[2]["guide"][8]]


def test_few_guides_are_too_few_to_say_and_have_no_mean(made):
    _, pages, codes = made
    said = text_of(pages[codes["lab"][1]])
    assert "too few to say – 0.4° 1 guide" in said


def test_text_of_a_slip_never_becomes_part_of_the_page(made):
    assert "<b>new</b>" not in made[1][made[2]["lab"][0]]


def test_nothing_proposes_to_change_the_laboratory():
    """From the clinical part alone nothing follows about a laboratory."""
    words = (bundled("reports") / "words" / "en.toml").read_text("utf-8")
    assert not re.search(
        r"(chang\w*|switch\w*|replac\w*) (the |your |of )?(lab\b|laborator)|another laborator",
        words,
        re.IGNORECASE,
    )
    assert "from it alone nothing follows about the laboratory" in words


def test_a_run_writes_the_pages_with_the_other_reports(tmp_path):
    folder = tmp_path / "a"
    audits.create_folder(folder)
    fill(folder, sheets())
    said = []
    commands.run(folder, "reported", commands.Wishes(), said.append)
    pages = sorted((folder / "reports" / "lab_return").glob("*.html"))
    assert len(pages) == 3
    assert [line for line in said if "lab_return" in line] == [
        f"report: {page}" for page in pages
    ]


def test_holes_measured_on_the_cast_count_a_guide_once_with_both_sides(tmp_path):
    """`scipy.stats.ttest_1samp` on the mean of both sides of each guide."""
    off = np.array(
        [[0.5, 0.0], [1.0, 0.5], [-0.5, 0.5], [1.5, 0.5], [0.0, -1.0], [0.5, 1.5]]
    )
    casts, guides = SITES, [GUIDES.strip()]
    for number, sides in enumerate(off, 1):
        name = f"C{number}"
        guides.append(
            f"G{number},{name},,surgical,,2025-02-{number:02d},,{LABS[0]},,,,"
        )
        for side, more in zip(("left", "right"), sides, strict=True):
            casts += site(name, side, "planned", midline=8, crest=0)
            casts += site(name, side, "guide", midline=8 + more, crest=0.5)
    files = {"cast_readings.csv": casts, "guides.csv": "\n".join(guides) + "\n"}
    folder = audit_of(tmp_path / "a", files, up_to="summarised")
    with opened(folder) as audit:
        rows = audit.frame("from summarised.lab_return").set_index("quantity")
        said = AuditTables(audit, WRITTEN_AT, lab=rows["lab_code"].iloc[0])
        lines = [line["name"] for line in lab_part.content(said).context["lines"]]
    row = rows.loc["midline_mm"]
    limits = stats.ttest_1samp(off.mean(axis=1), 0).confidence_interval()
    assert (row["n_guides"], row["n_values"]) == (6, 12)
    assert row[["mean", "low", "high"]].tolist() == pytest.approx([off.mean(), *limits])
    assert rows.loc["spacing_mm", "mean"] == pytest.approx(off.sum(axis=1).mean())
    assert "Hole to midline, each side" in lines


def test_without_guides_no_page_is_written(tmp_path):
    folder = tmp_path / "a"
    audits.create_folder(folder)
    fill(folder, {"cases.csv": "case_id,surgery_date\nC1,2025-03-04\n"})
    commands.run(folder, "summarised", commands.Wishes(), quiet)
    with opened(folder) as audit:
        assert write_lab_returns(AuditTables(audit, WRITTEN_AT), folder) == []

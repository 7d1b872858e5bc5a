"""A proposed layout is right where the sheet tells, and asks where two readings fit."""

from pathlib import Path

import pytest

from pipeline.errors import UnreadableSheet
from pipeline.records.heading_marks import marked, notation_of_marks
from pipeline.records.heading_meaning import matches, meaning_of
from pipeline.records.layouts import layout_of
from pipeline.records.proposing import Proposal, propose

READY = "Case,Site,Entry dev,Angle\n"


@pytest.fixture
def proposed(tmp_path):
    def of(text: str, name: str = "theirs.csv", **how: str) -> Proposal:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        found = propose(path, **how)
        layout_of(found.text().encode(), name=found.name)
        return found

    return of


def asked(proposal: Proposal, words: str):
    """Return the one question with these words in it."""
    found = [q for q in proposal.draft.questions if words in q.sentence]
    assert len(found) == 1, [q.sentence for q in proposal.draft.questions]
    return found[0]


def is_asked(proposal: Proposal, words: str) -> bool:
    return any(words in question.sentence for question in proposal.draft.questions)


def fields(proposal: Proposal, number: int = 0) -> dict:
    return proposal.draft.values["rows"][number]["fields"]


# headings


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Post-op platform X [mm]", "achieved_entry_x_mm"),
        ("planned_apex_z_mm", "planned_apex_z_mm"),
        ("Apical deviation", "apex_3d_mm"),
        ("Horizontal entry error (mm)", "entry_lateral_mm"),
        ("Angular deviation (°)", "angle_deg"),
        ("Vertical deviation", "depth_mm"),
        ("Op date", "surgery_date"),
        ("Distance to midline", "midline_mm"),
        ("Surgeon", "operator"),
    ],
)
def test_usual_headings_are_understood(heading, field):
    assert field in {match.field for match in matches(meaning_of(heading))}


@pytest.mark.parametrize("heading", ["Favourite colour", "difference", "", "22"])
def test_a_heading_that_says_nothing_of_ours_is_not_guessed(heading):
    assert not matches(meaning_of(heading))


@pytest.mark.parametrize(
    ("heading", "unit"),
    [("entry (mm)", "mm"), ("entry [cm]", "cm"), ("angle °", "deg"), ("angle rad", "rad"),
     ("entry µm", "µm"), ("date in", ""), ("entry (in)", "inch")],
)  # fmt: skip
def test_the_unit_of_a_heading_is_found(heading, unit):
    found = meaning_of(heading).unit
    assert (found.name if found else "") == unit


def test_marks_count_only_where_the_same_heading_has_another_one():
    found = marked(["33 entry", "43 entry", "12 month recall", "left pad", "right pad"])
    assert [one.template for one in found] == [
        "<site> entry", "<site> entry", "12 month recall", "left pad", "right pad",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("marks", "notation"),
    [(["L", "R"], ""), (["LL3", "LR3"], "quadrant"), (["32", "42"], "fdi"), (["23", "26"], "universal")],
)  # fmt: skip
def test_the_notation_of_marks(marks, notation):
    assert notation_of_marks(marks) == notation


# what must be asked


def test_day_and_month_are_asked_where_both_fit(proposed):
    text = "Case,Site,Entry dev,Op date\nP1,33,1.2,3/4/2026\nP1,43,1.2,5/6/2026\n"
    found = proposed(text)
    question = asked(found, "day/month or month/day in 'Op date'? 2 days")
    assert question.guess == ""
    assert fields(found, 1)["surgery_date"]["date_order"] == "?"
    found.draft.answer(question, "d.m.y")
    assert fields(found, 1)["surgery_date"]["date_order"] == "d.m.y"


def test_days_with_points_are_guessed_day_first_but_still_asked(proposed):
    text = "Case,Site,Entry dev,Op date\nP1,33,1.2,3.4.2026\nP1,43,1.2,5.6.2026\n"
    assert asked(proposed(text), "in 'Op date'").guess == "d.m.y"


def test_one_day_over_twelve_settles_the_order(proposed):
    text = "Case,Site,Entry dev,Op date\nP1,33,1.2,3/4/2026\nP1,43,1.2,3/14/2026\n"
    found = proposed(text)
    assert not is_asked(found, "Op date")
    assert fields(found, 1)["surgery_date"]["date_order"] == "m/d/y"


def test_both_orders_in_one_column_are_asked(proposed):
    text = "Case,Site,Entry dev,Op date\nP1,33,1.2,31/12/2025\nP1,43,1.2,12/31/2025\n"
    assert is_asked(proposed(text), "both orders occur in 'Op date'")


def test_22_and_27_are_asked_and_guessed_universal(proposed):
    question = asked(proposed(READY + "P1,22,1,2\nP1,27,1,2\n"), "22/27 in 'Site'")
    assert question.guess == "universal"
    assert "33/43 in FDI" in question.sentence


def test_31_and_32_alone_are_asked_without_a_guess(proposed):
    found = proposed(READY + "P1,31,1,2\nP1,32,1,2\n")
    assert asked(found, "FDI or Universal numbers").guess == ""


def test_33_and_43_are_not_asked(proposed):
    assert not is_asked(proposed(READY + "P1,33,1,2\nP1,43,1,2\n"), "Site")


def test_universal_numbers_in_headings_are_asked_and_either_answer_can_be_written(
    proposed,
):
    text = "Case,22 entry dev,27 entry dev\nP1,1,2\nP2,2,1\n"
    for answer, teeth in (("universal", ["33", "43"]), ("fdi", ["22", "27"])):
        found = proposed(text)
        found.draft.answer(asked(found, "22/27 in 'the headings'"), answer)
        each = found.draft.values["rows"][0]["each"]
        assert [part["tooth"] for part in each] == teeth


def test_letters_are_asked_for_the_end_where_a_stands(proposed):
    found = proposed(READY + "P1,B,1,2\nP1,D,1,2\n")
    question = asked(found, "at which end of the jaw does A stand")
    assert (question.choices, question.guess) == (("right", "left"), "")


def test_the_sign_of_depth_is_asked(proposed):
    text = "Case,Site,Depth\nP1,33,-0.2\nP1,43,0.4\n"
    found = proposed(text)
    question = asked(found, "mean deeper than planned")
    assert question.guess == ""
    assert fields(found)["is_signed"] == {"always": "yes"}


def test_depth_without_any_negative_is_asked_for_its_sign(proposed):
    text = "Case,Site,Depth\n" + "".join(f"P{n},33,0.{n}\n" for n in range(1, 10))
    found = proposed(text)
    question = asked(found, "no negative among them")
    found.draft.answer(question, "no")
    assert fields(found)["is_signed"] == {"always": "no"}


@pytest.mark.parametrize(
    ("figures", "guess"),
    [("1200 900", "µm"), ("0.08 0.12", "cm")],
)
def test_lengths_of_an_unlikely_size_are_asked_for_their_unit(proposed, figures, guess):
    first, second = figures.split()
    text = f"Case,Site,Entry dev\nP1,33,{first}\nP1,43,{second}\n"
    assert asked(proposed(text), "in which unit").guess in {guess, ""}


def test_centimetres_are_told_by_the_length_of_the_implant(proposed):
    names = [
        f"{s} {p} {a}"
        for s in ("plan", "post-op")
        for p in ("entry", "apex")
        for a in "xyz"
    ]
    rows = [
        f"P1,{site},{x},-2.2,1.4,{x},-2.1,0.3,{x},-2.2,1.4,{x},-2.1,0.3"
        for site, x in (("33", 1.1), ("43", -1.1))
    ]
    text = "\n".join([",".join(["Case", "Site", *names]), *rows]) + "\n"
    assert asked(proposed(text), "from head to tip is 1.1").guess == "cm"


def test_small_angles_are_asked_whether_they_are_radians(proposed):
    text = "Case,Site,Angle\n" + "".join(f"P{n},33,0.0{n}\n" for n in range(1, 7))
    assert asked(proposed(text), "look like radians").guess == "rad"


def test_a_comma_before_three_digits_everywhere_is_asked(proposed):
    text = "Case;Site;Entry dev\nP1;33;1,234\nP1;43;2,345\n"
    assert asked(proposed(text), "every comma is followed by three digits").guess == ""


def test_both_decimal_signs_are_asked(proposed):
    text = "Case;Site;Entry dev\nP1;33;1,2\nP1;43;2.3\n"
    assert asked(proposed(text), "some a decimal point").guess == "either"


def test_thousands_and_decimals_are_told_apart(proposed):
    text = "Case;Site;Entry dev (µm)\nP1;33;1.234,5\nP1;43;900,5\n"
    values = proposed(text).draft.values
    assert (values["decimal_sign"], values["thousands_sign"]) == (",", ".")


def test_sides_that_contradict_the_coordinates_leave_the_axes_open(proposed):
    names = [f"plan {p} {a}" for p in ("entry", "apex") for a in "xyz"]
    rows = []
    for case, left in (("P1", 11), ("P2", -11)):
        for site, x in (("33", left), ("43", -left)):
            rows.append(f"{case},{site},{x},-22,14,{x},-21,3")
    text = "\n".join([",".join(["Case", "Site", *names]), *rows]) + "\n"
    question = asked(proposed(text), "which way do the planned coordinates grow")
    assert question.guess == ""


def points(planned: float, achieved: float) -> str:
    """Two cases whose points grow to the left (1) or the right (-1), forward with it."""
    names = [
        f"{s} {p} {a}"
        for s in ("plan", "placed")
        for p in ("entry", "apex")
        for a in "xyz"
    ]
    rows = []
    for case in ("P1", "P2"):
        for site, x in (("33", 11), ("43", -11)):
            cells = [
                f"{sign * x},{sign * y},{z}"
                for sign in (planned, achieved)
                for y, z in ((-22, 14), (-21, 3))
            ]
            rows.append(f"{case},{site},{','.join(cells)}")
    return "\n".join([",".join(["Case", "Site", *names]), *rows]) + "\n"


def test_our_own_axes_are_told_and_not_asked(proposed):
    found = proposed(points(1, 1))
    assert not is_asked(found, "coordinates grow")
    assert "axes" not in found.draft.values


def test_ras_is_guessed_and_asked_once_for_both_states(proposed):
    question = asked(proposed(points(-1, -1)), "do the coordinates grow as RAS")
    assert question.guess == "RAS"


def test_plan_and_result_may_have_axes_of_their_own(proposed):
    found = proposed(points(1, -1))
    assert asked(found, "the achieved coordinates grow as RAS").guess == "RAS"
    assert found.draft.values["axes"] == {"planned": "LPS", "achieved": "RAS"}


def test_points_with_a_column_that_cannot_be_read_leave_the_axes_open(proposed):
    text = points(-1, -1).replace(",14,", ",,").replace(",3,", ",,")
    assert asked(proposed(text), "which way do the").guess == ""


def test_a_sheet_of_ours_is_said_to_need_no_layout(proposed):
    found = proposed("case_id,side,entry_3d_mm\nP1,left,1\n", "deviations.csv")
    assert found.draft.values["files"] == ["deviations.csv"]
    assert any("needs no layout" in one for one in found.draft.notices)


def test_ranges_are_asked(proposed):
    text = "Case,Side,State,Midline\nP1,left,planned,7-8\nP1,right,planned,8\n"
    found = proposed(text)
    question = asked(found, "is a range in 'Midline' to be read as its middle")
    found.draft.answer(question, "no")
    assert fields(found)["midline_mm"] == {"heading": "Midline"}


def test_words_of_the_clinic_are_mapped_and_unknown_ones_asked(proposed):
    text = "Case,Site,Entry dev,Guide made by\nP1,33,1,resin lab\nP2,33,1,Aunt Mary\n"
    found = proposed(text)
    words = fields(found, 1)["guide_method"]["words"]
    assert words == {"resin lab": "surveyor", "Aunt Mary": "?"}
    assert "surveyor" in asked(found, "is meant by 'Aunt Mary'").choices


def test_the_trades_guide_classes_are_asked_once(proposed):
    # classes of guides as taught: non-limiting, partially limiting, completely limiting
    text = "Case,Site,Entry dev,Guide class\nP1,33,1,non-limiting\nP2,33,1,completely limiting\n"
    found = proposed(text)
    asked(found, "schools differ in what they call guidance")
    assert fields(found, 1)["guidance"]["words"] == {
        "non-limiting": "freehand", "completely limiting": "full",
    }  # fmt: skip


def test_cells_below_a_merged_one_are_asked(proposed):
    found = proposed(READY + "P1,33,1,2\n,43,1,2\n")
    assert is_asked(found, "filled down: does row 3 belong")
    assert found.draft.values["fill_down"] == ["Case"]


def test_numbers_turned_into_dates_are_a_notice(proposed):
    found = proposed(READY + "P1,33,2026-07-08,2\nP1,43,1.1,2\n")
    assert any("turned numbers into dates" in one for one in found.draft.notices)


def test_totals_and_notes_are_skipped_with_their_rows_named(proposed):
    note = "* the second implant was measured by the student"
    found = proposed(READY + f"P1,33,1,2\nP2,33,1,2\nMean,,1,2\nSD,,1,2\n{note},,,\n")
    skip = found.draft.values["skip"]
    assert [one["pattern"] for one in skip] == ["mean|sd", ".{25,}"]
    assert "rows 4-5" in found.text()


def test_numbers_cut_in_two_at_a_comma_are_proposed_to_be_joined(proposed):
    found = proposed("Case;Site;Entry dev;;Angle\nP1;33;1;2;3\nP1;43;0;95;4\n")
    assert is_asked(found, "cut in two at their decimal comma")
    assert fields(found)["entry_3d_mm"]["decimals_in"] == "column D"


def test_a_file_with_numbers_cut_at_a_comma_is_refused(proposed):
    with pytest.raises(UnreadableSheet, match="cut at the comma"):
        proposed(READY + "P1,33,1,2,3\nP1,43,0,95,4\n")


def test_bare_numbers_in_headings_may_be_two_implants(proposed):
    found = proposed("Case,Site,Implant 1 entry,Implant 2 entry\nP1,33,1,2\n")
    question = asked(found, "count repeat readings of one implant")
    found.draft.answer(question, "no")
    assert layout_of(found.text().encode(), name="a").open_points


def test_columns_of_a_state_each_become_rows_of_their_own(proposed):
    text = (
        "Case,L planned midline,R planned midline,L midline,R midline\nP1,8,8,8.5,7\n"
    )
    found = proposed(text)
    states = [fields(found, n)["state"]["always"] for n in (0, 1)]
    assert states == ["?", "planned"]
    assert "achieved" in asked(found, "no column gives state").choices


def test_names_are_left_out_and_what_is_not_used_is_said(proposed):
    found = proposed(
        "Case,Patient Name,Contact phone,Site,Entry dev,Colour\nP1,A,1,33,1,red\n"
    )
    assert found.draft.values["drop"] == ["Contact phone"]
    notices = " ".join(found.draft.notices)
    assert "'Patient Name' identifies a person" in notices
    assert "'Colour'" in notices


def test_a_phrase_that_stands_only_once_is_not_shown(proposed):
    rows = [
        "P1,2026-01-31,done,ring changed",
        "P2,2026-01-30,done,Mrs Example will move to the coast",
        "P3,2026-01-29,done,saw the hygienist",
        "P4,2026-01-28,done,Saw the hygienist.",
        "P5,2026-01-28,done,clips fine",
    ]
    found = proposed("Pat,Visit date,Status,Reason\n" + "\n".join(rows) + "\n")
    text = found.text()
    assert "Example" not in text
    assert '"saw the hygienist" (2)' in text
    assert found.draft.values["phrases"] == {
        "ring changed": ["insert_renewed"], "clips fine": [],
    }  # fmt: skip
    question = asked(found, "do the phrases in [phrases] stand for")
    found.draft.answer(question, "no")
    assert found.draft.values["phrases"] == {}


@pytest.mark.parametrize("answer", ["case_id", "practice_no"])
def test_a_practice_number_is_asked_whether_it_is_the_one_of_the_cases(
    proposed, answer
):
    appointments = (
        "Practice no,Start,Status,Reason\n"
        "004417,13/4/2026,Completed,clips fine\n"
        "004451,14/4/2026,Completed,clips fine\n"
    )
    found = proposed(appointments, "appointments.csv")
    found.draft.answer(asked(found, "the practice's own"), answer)
    other = {"case_id": "practice_no", "practice_no": "case_id"}[answer]
    for number, sheet in enumerate(("visits", "events")):
        assert found.draft.values["rows"][number]["sheet"] == sheet
        assert fields(found, number)[answer] == {"heading": "Practice no"}
        assert other not in fields(found, number)


def test_a_sheet_of_nothing_we_know_is_refused_with_its_columns(proposed, tmp_path):
    with pytest.raises(UnreadableSheet, match="Apples, Pears"):
        proposed("Apples,Pears\n1,2\n")


def test_the_same_file_gives_the_same_proposal(proposed, tmp_path):
    proposed(READY + "P1,22,1,2\nP1,27,1,2\n")
    path = Path(tmp_path / "theirs.csv")
    assert propose(path).text() == propose(path).text()

"""A layout that cannot be followed is refused with its file, the key and what is allowed."""

import pytest

from pipeline.errors import LayoutError
from pipeline.records.layouts import layout_of, layouts_in
from tests.unit.laying import ready_layout

GOOD = ready_layout('entry_3d_mm = { heading = "Entry", unit = "cm" }')


def refused(text: str) -> LayoutError:
    with pytest.raises(LayoutError) as caught:
        layout_of(text.encode(), name="theirs")
    assert caught.value.sentence.startswith("layouts/theirs.toml")
    assert caught.value.exit_code == 2
    return caught.value


def test_a_good_layout_is_read():
    layout = layout_of(GOOD.encode(), name="theirs")
    assert layout.sheets == ("deviations",)
    assert layout.open_points == ()
    assert len(layout.sha256) == 64


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('needs = ["Case", "Site"]', "", "needs names no heading"),
        ('needs = ["Case", "Site"]', "needs = 3", "needs should be a list of texts"),
        ('"deviations"', '"deviatons"', "rows[1].sheet is 'deviatons'"),
        ('sheet = "deviations"', "", "rows[1].sheet is missing"),
        ("[rows.fields]", "[rows.field]", "rows[1].fields is missing"),
        ("[[rows]]", "[[row]]", "rows should be tables"),
        ("entry_3d_mm", "entry_mm", "rows[1].fields.entry_mm is no field"),
        ('"cm"', '"rad"', "entry_3d_mm.unit is 'rad'"),
        ('unit = "cm"', 'units = "cm"', "entry_3d_mm.units is not known here"),
        ('heading = "Entry", ', "", "entry_3d_mm.heading is missing"),
        ('case_id = "Case"', "", "leaves out case_id"),
        ('tooth = "Site"', "", "leaves out the place"),
        ('tooth = "Site"', 'tooth = { always = "22/27" }', "holds an FDI number"),
        ('tooth = "Site"', 'tooth = { heading = "Site", notation = "fid" }', "notation is 'fid'"),
        ('tooth = "Site"', 'tooth = { heading = "Site", notation = "letters", first_letter = "left" }', "no tooth numbers"),
        ('tooth = "Site"', 'side = { heading = "Site", notation = "letters" }', "first_letter is missing"),
        ('tooth = "Site"', 'side = { heading = "Site", words = { a = "port" } }', "one of: left, right"),
        ('tooth = "Site"', 'tooth = "Site"\nis_signed = { always = "maybe" }', "yes or no"),
        ('tooth = "Site"', 'tooth = "Site"\nreading = { always = "one" }', "a whole number"),
        ('tooth = "Site"', 'tooth = "Site"\nangle_deg = { always = "3,2" }', "a number with a decimal point"),
        ('heading = "Entry"', 'heading = "Entry", pattern = "("', "no regular expression"),
        ('heading = "Entry"', 'heading = "Entry", pattern = "a"', "it needs 1"),
        ('unit = "cm"', 'words = { a = "b" }', "words does not go with entry_3d_mm"),
        ("entry_3d_mm =", "entry_3d_mm = 3 #", "entry_3d_mm should be a table"),
    ],
)  # fmt: skip
def test_each_fault_names_the_key_and_what_is_wrong(old, new, words):
    assert old in GOOD
    assert words in refused(GOOD.replace(old, new)).sentence


@pytest.mark.parametrize(
    ("top", "words"),
    [
        ('decimal_sign = ";"', "Allowed: ., ,, either"),
        ('decimal_sign = ","\nthousands_sign = ","', "is the decimal sign too"),
        ('axes = "LRS"', "is no axis convention"),
        ('[axes]\nplan = "RAS"', "axes.plan is not known here"),
        ("header_rows = 9", "from 1 to 6"),
        ("header_rows = true", "from 1 to 6"),
        ('headings = ["Case"]', "headings is not known here"),
        ('[[skip]]\nheading = "Case"', "skip[1] needs heading and pattern"),
        ('[[skip]]\nheading = "Case"\npattern = "(mean)"', "it needs 0"),
        ('[[join]]\ntab = "Plan"', "join[1] needs on"),
        ('[[join]]\ntab = "Plan"\non = ["Case"]\ntheir = ["a", "b"]', "names 2 columns, on 1"),
        ('[[join]]\nname = "plan"\non = ["Case"]', "only is missing"),
        ('[phrases]\n"ring" = ["ring_changed"]', "is no event"),
        ('[phrases]\n"ring" = ["insert_renewed port"]', "names the side 'port'"),
        ('[phrases]\n"Ring" = []\n"ring." = []', "holds a phrase twice"),
        ('drop = ["Entry"]', "fills a field too"),
    ],
)  # fmt: skip
def test_faults_of_the_sheet_as_a_whole_are_named_too(top, words):
    error = refused(ready_layout('entry_3d_mm = "Entry"', top))
    assert words in f"{error.sentence} {error.hint}"


def test_a_close_word_is_offered():
    assert (
        "Did you mean entry_3d_mm?"
        in refused(GOOD.replace("entry_3d_mm", "entry_3d")).hint
    )


def test_text_that_is_no_toml_is_refused_with_its_line():
    assert "line 2" in refused("needs = []\nneeds 3\n").sentence


def test_a_layout_without_rows_says_what_to_write():
    assert "[[rows]]" in refused('needs = ["Case"]').hint


def test_a_question_mark_is_an_open_point_and_so_is_each_confirm():
    text = ready_layout(
        'entry_3d_mm = { heading = "Entry", unit = "?" }', 'confirm = ["ask Ann"]'
    )
    layout = layout_of(text.encode(), name="theirs")
    assert layout.open_points == (
        "ask Ann",
        "rows[1].fields.entry_3d_mm.unit is still '?'",
    )


def test_a_heading_may_be_the_open_point():
    text = ready_layout('entry_3d_mm = { heading = "?", unit = "cm" }')
    points = layout_of(text.encode(), name="theirs").open_points
    assert points == ("rows[1].fields.entry_3d_mm.heading is still '?'",)


def test_a_column_that_names_a_person_may_only_fill_what_is_coded():
    fields = 'achieved_source = { heading = "Surname", words = {} }'
    assert "turned into a code" in refused(ready_layout(fields)).hint
    layout_of(ready_layout('examiner = "Surname"').encode(), name="theirs")


def test_a_case_number_cannot_be_kept_uncoded_through_a_second_field():
    text = GOOD.replace('tooth = "Site"', 'tooth = "Case"')
    assert "fill both case_id and tooth" in refused(text).sentence


def test_parts_need_marks_in_the_headings_and_marks_need_parts():
    each = 'each = [{{ "<site>" = "33", tooth = "33" }}]'.format()
    text = ready_layout('entry_3d_mm = "Entry"').replace(
        'sheet = "deviations"', f'sheet = "deviations"\n{each}'
    )
    assert "no heading holds a mark" in refused(text).sentence
    text = ready_layout('entry_3d_mm = "<site> Entry"')
    assert "no part under each explains" in refused(text).sentence


def test_axes_need_all_three_coordinates():
    text = """
needs = ["Case"]
axes = "RAS"
[[rows]]
sheet = "landmarks"
[rows.fields]
case_id = "Case"
label = "Point"
frame = { always = "scan" }
x_mm = "a"
y_mm = "b"
z_mm = "c"
"""
    layout_of(text.encode(), name="theirs")
    assert "without its y" in refused(text.replace('z_mm = "c"', "")).sentence
    implants = """
needs = ["Case"]
axes = "RAS"
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
side = "Side"
planned_entry_x_mm = "a"
"""
    assert "without its y and z" in refused(implants).sentence


def test_layouts_are_read_in_the_order_of_their_names(tmp_path):
    for name in ("b", "a"):
        (tmp_path / f"{name}.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "notes.txt").write_text("no layout")
    assert [layout.name for layout in layouts_in(tmp_path)] == ["a", "b"]
    assert layouts_in(tmp_path / "away") == ()

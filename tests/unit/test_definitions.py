"""Every number can be looked up, and the committed definitions are current."""

import pytest

from pipeline.bundled import folder
from pipeline.errors import UserError
from pipeline.reference import load
from pipeline.reported.definitions import definition_of, definitions_text
from pipeline.reported.wording import measures


def test_the_committed_file_is_what_the_tables_say():
    committed = (folder("reports") / "DEFINITIONS.md").read_text(encoding="utf-8")
    assert committed == definitions_text(), (
        "write it again: plumbpost definitions > reports/DEFINITIONS.md"
    )


def test_every_measure_and_every_column_is_defined():
    text = definitions_text()
    for name, known in measures().items():
        assert known.sentence in text
        assert known.sentence in definition_of(name)
    for row in load.rows("columns"):
        assert row["meaning"] in definition_of(f"{row['table']}.{row['column']}")


@pytest.mark.parametrize(
    "entry", ["entry_3d_mm", "Entry deviation", "entry deviation", "ENTRY-3D-MM"]
)
def test_capitals_and_spaces_do_not_matter(entry):
    assert "centre of the implant head" in definition_of(entry)


def test_a_table_gives_all_its_columns():
    assert definition_of("summarised.harm").count("\n") == sum(
        row["table"] == "summarised.harm" for row in load.rows("columns")
    )


def test_words_of_judgement_are_defined():
    assert definition_of("inside").startswith("Inside: not worse than published.")


def test_an_unknown_entry_names_those_near_it():
    with pytest.raises(UserError) as error:
        definition_of("entry_3d")
    assert "entry_3d_mm" in error.value.hint
    assert "'entry_3d'" in error.value.sentence


def test_an_entry_like_nothing_says_how_to_see_all():
    with pytest.raises(UserError) as error:
        definition_of("qqqqqqqq")
    assert "Leave the entry out" in error.value.hint

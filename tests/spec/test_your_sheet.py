"""The page for clinics: its two examples do what it says, and it names all there is."""

import re
from pathlib import Path

import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.bundled import folder as bundled
from pipeline.errors import LayoutError
from pipeline.records.layouts import layout_of
from pipeline.records.numbers_written import DECIMAL_SIGNS
from pipeline.records.site_notation import NOTATIONS
from pipeline.records.units import units
from tests.audits import fill, opened, quiet, records_of

PAGE = (bundled("reports") / "YOUR_SHEET.md").read_text(encoding="utf-8")
FILES = dict(re.findall(r"```csv file=(\S+)\n(.*?)```", PAGE, re.DOTALL))
LAYOUTS = dict(re.findall(r"```toml layout=(\S+)\n(.*?)```", PAGE, re.DOTALL))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(tmp_path_factory.mktemp("keys")))
        place = tmp_path_factory.mktemp("page") / "audit"
        audits.create_folder(place)
        fill(place, FILES)
        for name, text in LAYOUTS.items():
            (Path(place) / "layouts" / f"{name}.toml").write_text(
                text, encoding="utf-8"
            )
        commands.run(place, "measured", commands.Wishes(), quiet)
        yield place


def test_the_page_has_two_examples():
    assert list(FILES) == ["figures.csv", "appointments.csv"]
    assert list(LAYOUTS) == ["figures", "appointments"]


def test_the_first_example_gives_five_rows_of_figures_and_three_cases(folder):
    with records_of(folder) as records:
        figures = records.run(
            "select tooth, entry_3d_mm, angle_deg from deviations order by row_id"
        )
        cases = records.run(
            "select surgery_date, guide_method from cases order by row_id"
        )
    assert sorted(figures) == sorted([
        ("33", "1.2", "3.1"), ("43", "0.9", "2.4"), ("33", "1.6", "4.0"),
        ("33", "0.8", "2.2"), ("43", "1.1", "about 3"),
    ])  # fmt: skip
    assert cases == [
        ("2026-03-04", "surveyor"), ("2026-03-11", "surveyor"), ("2026-03-18", "printed"),
    ]  # fmt: skip


def test_about_3_is_set_aside_as_the_cell_the_page_names(folder):
    with opened(folder) as audit:
        found = audit.run(
            "select cell from checked.findings where as_written = 'about 3'"
        )
        entries = audit.value(
            "select count(*) from measured.implants where entry_3d_mm is not null"
        )
    assert found == [("F6",)]
    assert "`F6`" in PAGE
    assert entries == 5, "the rest of its row is used"


def test_the_row_of_means_is_left_out_and_the_load_says_so(folder):
    with records_of(folder) as records:
        notes = records.value("select notes from loads where sheet = 'deviations'")
    assert "Left out as totals: row 7." in notes


def test_the_second_example_keeps_the_audits_patients_and_one_event(folder):
    with records_of(folder) as records:
        visits = records.run(
            "select visit_date, attended, other_cells from visits order by 1"
        )
        events = records.run("select event, side, event_date from events")
        left_out = records.value(
            "select count_left_out from loads where sheet = 'visits'"
        )
    assert [visit[:2] for visit in visits] == [
        ("2026-03-04", "yes"), ("2026-06-30", "yes"), ("2026-07-01", "yes"), ("2026-09-14", "no"),
    ]  # fmt: skip
    assert [bool(visit[2]) for visit in visits] == [False, False, True, False]
    assert events == [("insert_renewed", "both", "2026-03-04")]
    assert left_out == 1


def test_no_name_of_the_examples_is_left_in_the_folder(folder):
    for path in Path(folder).rglob("*"):
        if path.is_file() and path.parent.name != "records":
            assert b"Ann Example" not in path.read_bytes()


def keys_allowed(text: str) -> list[str]:
    """Return the keys that the refusal of an unknown one names."""
    with pytest.raises(LayoutError) as caught:
        layout_of(text.encode(), name="a")
    return caught.value.hint.partition("Allowed: ")[2].rstrip(".").split(", ")


def test_the_page_names_every_unit_notation_and_key():
    for word in [*units(), *NOTATIONS, *DECIMAL_SIGNS[2:]]:
        assert f"`{word}`" in PAGE or f'`"{word}"`' in PAGE, word
    layout = LAYOUTS["figures"]
    whole = keys_allowed("bogus = 1\n" + layout)
    rows = keys_allowed(layout.replace("distinct = true", "bogus = true"))
    cells = [
        key
        for field in ("entry_3d_mm", "achieved_source", "tooth")
        for key in keys_allowed(
            "needs = ['a']\n[[rows]]\nsheet = 'deviations'\n[rows.fields]\n"
            f"{field} = {{ heading = 'a', bogus = 1 }}\n"
        )
    ]
    for key in {*whole, *rows, *cells} - {"heading", "sheet", "fields", "rows"}:
        assert f"`{key}`" in PAGE or f"[{key}]" in PAGE, key

"""A column leaves the clinic only by its own row, and in the form that row says."""

import pytest

from pipeline.reference import load
from pipeline.sharing.columns import FORMS, all_columns, exported
from tests.audits import opened

COLUMNS = all_columns()
SOURCES = sorted({column.source for column in COLUMNS})


def named(column):
    return f"{column.table}-{column.column}"


@pytest.mark.parametrize("source", SOURCES)
def test_every_column_of_a_table_that_is_exported_is_told_how_it_leaves(demo, source):
    with opened(demo) as audit:
        held = {name for name, _ in audit.columns(source)}
    told = [column.column for column in COLUMNS if column.source == source]
    assert sorted(told) == sorted(held)


@pytest.mark.parametrize("column", COLUMNS, ids=named)
def test_what_stays_behind_has_a_reason_and_what_leaves_has_a_name_and_a_meaning(
    column,
):
    assert column.form in FORMS
    if column.form == "dropped":
        assert column.why
        assert not column.name
    else:
        assert column.name
        assert column.meaning
        assert column.type in {"string", "number", "integer", "boolean"}
        assert bool(column.code_of) == (column.form == "fresh_code")
        assert bool(column.step) == (column.form == "banded")


def test_no_date_and_no_identity_leaves_as_it_is():
    dates = {
        (row["table"], row["column"])
        for row in load.rows("columns")
        if row["type"] in {"DATE", "TIMESTAMP"}
    }
    fields = {field.field: field for field in load.fields("cases")}
    for column in COLUMNS:
        field = fields.get(column.column.removesuffix("_code"))
        is_identity = field is not None and field.identity
        is_code = column.column.endswith(("_key", "_code")) or is_identity
        if (column.source, column.column) in dates or column.column.endswith("_date"):
            assert column.form in {"days", "dropped"}, column.column
        if is_code:
            assert column.form in {"fresh_code", "dropped"}, column.column


def test_no_free_text_of_a_record_sheet_leaves():
    kinds = {(field.field, field.kind) for field in load.fields()}
    # events and guides both have a reason: a code there, words here
    free = {
        name for name, kind in kinds if kind == "text" and (name, "code") not in kinds
    }
    for column in COLUMNS:
        if column.column in free and column.form == "kept":
            assert column.only, column.column


def test_names_are_different_within_a_table():
    for columns in exported().values():
        names = [column.name for column in columns]
        assert len(set(names)) == len(names)

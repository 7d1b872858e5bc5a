"""Codes: the clinic's numbers never enter the folder, and never collide or change."""

import pytest

from pipeline import audit as audits
from pipeline.errors import KeyProblem
from pipeline.records.codes import Codebook, normal_form


@pytest.fixture
def codebook(tmp_path):
    return Codebook(audits.create_folder(tmp_path / "a").settings())


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (" 123 ", "123"),
        ("123.0", "123"),
        ("00123", "00123"),
        ("P-07 a", "P-07 a"),
        ("P-07\u00a0a", "P-07 a"),
        ("n/a", ""),
    ],
)
def test_a_number_is_brought_to_one_form_before_it_is_coded(written, meant):
    assert normal_form(written) == meant


def test_a_number_written_in_two_ways_gets_one_code(codebook):
    assert codebook.code_of("case", "123") == codebook.code_of("case", " 123.0")


def test_leading_zeros_make_another_number(codebook):
    assert codebook.code_of("case", "0123") != codebook.code_of("case", "123")


def test_a_code_has_twelve_characters_and_does_not_hold_the_number(codebook):
    code = codebook.code_of("case", "4711")
    assert len(code) == 12
    assert "4711" not in code


def test_an_empty_cell_gets_no_code(codebook):
    assert codebook.code_of("person", "  ") == ""


def test_the_same_name_as_patient_and_as_operator_gets_two_codes(codebook):
    assert codebook.code_of("patient", "7") != codebook.code_of("person", "7")


def test_codes_lead_back_on_this_machine_only(codebook):
    code = codebook.code_of("case", "4711")
    codebook.remember({("case", "4711"): code})
    codebook.remember({("case", "4711"): code})
    assert codebook.numbers_behind("case") == {code: "4711"}


def test_a_lost_key_is_said_and_no_second_one_is_made(tmp_path):
    settings = audits.create_folder(tmp_path / "a").settings()
    settings.key_file.unlink()
    with pytest.raises(KeyProblem, match="missing"):
        Codebook(settings)
    assert not settings.key_file.exists()


def test_key_and_codes_can_be_read_by_their_owner_only(tmp_path):
    settings = audits.create_folder(tmp_path / "a").settings()
    book = Codebook(settings)
    book.remember({("case", "1"): book.code_of("case", "1")})
    for name in ("key", "codes.duckdb"):
        mode = (settings.key_file.parent / name).stat().st_mode & 0o777
        assert mode == 0o600, name

"""What makes two tables count as identical."""

from pipeline.frozen import digests
from pipeline.warehouse import Warehouse


def digest(select: str) -> list[str]:
    with Warehouse() as warehouse:
        warehouse.make("measured.one", select)
        return digests(warehouse)["measured.one"]


def test_the_order_of_rows_does_not_count():
    assert digest("values (1, 'a'), (2, 'b')") == digest("values (2, 'b'), (1, 'a')")


def test_a_difference_beyond_the_ninth_decimal_does_not_count():
    assert digest("select 1.25::double as x") == digest(
        "select 1.25::double + 1e-12 as x"
    )


def test_a_difference_in_the_ninth_decimal_counts():
    assert digest("select 1.25::double as x") != digest(
        "select 1.25::double + 1e-9 as x"
    )


def test_zero_has_one_sign():
    assert digest("select 0.0::double as x") == digest("select -0.0::double as x")


def test_nothing_known_is_not_the_empty_text():
    assert digest("select null::varchar as x") != digest("select '' as x")


def test_a_value_in_another_column_counts():
    first = digest("select 'a' as x, null::varchar as y")
    assert first != digest("select null::varchar as x, 'a' as y")


def test_a_row_there_twice_counts():
    assert digest("values (1), (2)") != digest("values (1), (2), (2)")
    assert digest("values (1), (1)") != digest("values (2), (2)")

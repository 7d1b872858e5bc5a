"""The first printed side is shared out so that it stays one side."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.reported.room import MOST_HARM, first_side, lines_of, that_fit


def test_harm_takes_room_from_cases_not_from_the_side():
    few = first_side(harm_lines=0, criteria=[("a", "b")] * 3, plot_lines=4)
    many = first_side(harm_lines=MOST_HARM, criteria=[("a", "b")] * 3, plot_lines=4)
    assert many.discuss < few.discuss
    assert many.criteria >= 1
    assert many.discuss >= 1


def test_without_plots_there_is_more_room():
    with_plots = first_side(harm_lines=2, criteria=[], plot_lines=5)
    without = first_side(harm_lines=2, criteria=[], plot_lines=0)
    assert without.discuss > with_plots.discuss + 10


def test_long_texts_count_for_the_lines_they_take():
    assert lines_of("", 10) == 1
    assert lines_of("x" * 10, 10) == 1
    assert lines_of("x" * 11, 10) == 2


@given(st.lists(st.integers(1, 6), max_size=30), st.integers(1, 40))
def test_what_is_kept_fits_and_the_first_is_always_kept(lines, room):
    kept = that_fit([(at, height) for at, height in enumerate(lines)], room)
    assert kept == list(range(len(kept)))
    assert len(kept) <= 1 or sum(lines[: len(kept)]) <= room
    assert bool(kept) == bool(lines)

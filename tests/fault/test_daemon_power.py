"""Promise: an end asked for or not loses nothing, and a board that shuts down says so before it is gone."""

from fault_power import ends, last_words


def test_a_last_word_is_said_by_signal_and_by_file_and_taken_back_at_the_next_start() -> None:
    row = last_words(long=False)
    assert (row.places, row.lost, row.repeated, row.wrong) == (3, 0, 0, [])


def test_ends_in_a_stream_of_readings_lose_nothing() -> None:
    row = ends(long=False)
    assert (row.places, row.lost, row.wrong) == (4, 0, [])

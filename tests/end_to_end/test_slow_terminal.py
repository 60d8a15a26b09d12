"""A terminal that nobody reads holds up neither recording nor analysis; tests/bench/slow_terminal.py measures it."""

from tests.bench.slow_terminal import measure, not_at_all

SECONDS = 8.0
"""Without care everything stood still after three or four."""


def test_a_terminal_that_is_not_read_stops_neither_recording_nor_analysis() -> None:
    _, recorded_s, analysed_s, lost = measure(not_at_all, SECONDS)
    assert min(recorded_s, analysed_s) > 0.75 * SECONDS
    assert lost == 0

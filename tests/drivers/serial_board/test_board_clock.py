import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.serial_board.board_clock import MOST_SPANS, ClockComparison


def _compared(ppm: float, seconds: int, rate_hz: float = 10_000.0) -> ClockComparison:
    """Reads 50 times a second, each late by an exponentially spread delay of 5 ms in the mean."""
    comparison = ClockComparison(rate_hz)
    host_s = np.arange(0, seconds, 0.02)
    late_s = np.random.default_rng(1).exponential(0.005, host_s.shape)
    for now_s, delay_s in zip(host_s.tolist(), late_s.tolist(), strict=True):
        comparison.arrived(int(now_s * rate_hz * (1 + ppm * 1e-6)), 1000.0 + now_s + delay_s)
    return comparison


@given(st.floats(-2000.0, 2000.0))
def test_a_minute_shows_the_error_of_a_clock_through_late_arrivals(ppm: float) -> None:
    assert _compared(ppm, 60).error_ppm == pytest.approx(ppm, abs=10.0)


def test_memory_stays_flat_and_a_long_run_is_exact() -> None:
    comparison = _compared(-37.0, 1200)
    assert len(comparison._least) <= MOST_SPANS
    assert comparison.error_ppm == pytest.approx(-37.0, abs=0.5)


def test_the_first_seconds_say_nothing() -> None:
    assert _compared(500.0, 5).error_ppm is None

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.trace.axis import duration, moment, tick_step_s, ticks

rates = st.sampled_from([1000.0, 20_000.0, 44_100.0, 50_000.0, 1e6, 12_345.678])


@given(st.integers(0, 10**12), st.integers(2, 10**7), rates, st.integers(1, 12))
def test_a_tick_stands_on_the_sample_nearest_to_the_moment_that_it_names(
    start: int, samples: int, rate_hz: float, most: int
) -> None:
    """Against exact fractions: index over rate is the only time base."""
    found = ticks(start, samples, rate_hz, most)
    assert len(found) <= most + 1
    for tick in found:
        assert abs(Fraction(tick.text) * Fraction(rate_hz) - tick.index) <= Fraction(1, 2)
        assert start <= tick.index < start + samples + 1
    moments = [Fraction(tick.text) for tick in found]
    step = Fraction(tick_step_s(samples / Fraction(rate_hz), most))
    assert all(b - a == step for a, b in pairwise(moments))


@given(st.fractions(Fraction(1, 10**6), 10**4), st.integers(1, 20))
def test_the_step_is_the_smallest_of_one_two_five_that_comes_seldom_enough(seconds: Fraction, most: int) -> None:
    step = tick_step_s(seconds, most)
    assert seconds <= most * Fraction(step)
    assert step.as_tuple().digits in {(1,), (2,), (5,)}
    smaller = {1: Fraction(1, 2), 2: Fraction(1, 2), 5: Fraction(2, 5)}[step.as_tuple().digits[0]]
    assert seconds > most * Fraction(step) * smaller


@pytest.mark.parametrize(
    ("index", "rate_hz", "text"),
    [
        (0, 50_000.0, "0.000 000 s"),
        (617_250, 50_000.0, "12.345 000 s"),
        (-1, 1e6, "-0.000 001 s"),
        (3_600_000_001, 1e6, "3600.000 001 s"),
    ],
)
def test_moments_are_told_to_the_microsecond(index: int, rate_hz: float, text: str) -> None:
    assert moment(index, rate_hz) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0 us"), (50e-6, "50 us"), (-0.00345, "-3.450 ms"), (0.9996e-3, "1.000 ms"), (1.5, "1.5000 s")],
)
def test_times_are_told_in_the_unit_that_suits(seconds: float, text: str) -> None:
    assert duration(seconds) == text

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.signal.edges import Thresholds
from monitor.signal.pulses import Overlong, Pulse, PulseFinder
from tests.monitor.signal.pieces import TICKS, pulses_of, train

HALF = Thresholds(low=300, middle=500, high=700)
widths = st.lists(st.integers(1, 30), min_size=1, max_size=60)
cuts = st.lists(st.integers(1, 1500), max_size=10)


@given(widths, cuts, st.integers(0, 8), st.integers(10, 30))
def test_pulses_are_the_same_wherever_the_samples_are_cut(
    lengths: list[int], where: list[int], shortest: int, longest: int
) -> None:
    samples = train([3, *lengths, 40])
    inside = [cut for cut in where if cut < len(samples)]
    whole = pulses_of(samples, HALF, (), shortest * TICKS, longest * TICKS)
    assert pulses_of(samples, HALF, inside, shortest * TICKS, longest * TICKS) == whole


def test_a_pulse_shorter_than_a_glitch_vanishes() -> None:
    assert pulses_of(train([20, 3, 20]), HALF, shortest=5 * TICKS) == []


def test_a_glitch_inside_a_pulse_does_not_split_it() -> None:
    whole = pulses_of(train([20, 43, 20]), HALF, shortest=5 * TICKS)
    assert pulses_of(train([20, 20, 3, 20, 20]), HALF, shortest=5 * TICKS) == whole
    assert len(whole) == 1


def test_the_duration_of_a_trapezoid_is_flat_plus_half_of_both_edges() -> None:
    """IEEE Std 181 pulse duration at 50 %: H + (Tr + Tf) / 2."""
    ramp = [0, 250, 500, 750]
    samples = train([5])
    shape = np.array([*samples, *ramp, *[1000] * 10, *ramp[::-1], *samples], np.int16)
    (pulse,) = pulses_of(shape, HALF)
    assert isinstance(pulse, Pulse)
    assert (pulse.end - pulse.start) / TICKS == 9 + (4 + 4) / 2


def test_a_pulse_without_end_is_told_while_it_lasts() -> None:
    finder = PulseFinder(active_high=True, shortest=0, longest=10 * TICKS)
    assert finder.feed([(5 * TICKS, True)], 12 * TICKS) == []
    assert finder.feed([], 20 * TICKS) == [Overlong(5 * TICKS, None)]
    assert finder.feed([], 30 * TICKS) == []
    assert finder.feed([(33 * TICKS, False)], 40 * TICKS) == [Overlong(5 * TICKS, 33 * TICKS)]

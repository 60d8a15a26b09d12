import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst
from scipy import signal
from skimage.filters import apply_hysteresis_threshold

from monitor.signal.edges import Thresholds
from monitor.signal.history import Samples
from monitor.signal.pulses import Pulse
from tests.monitor.signal.pieces import TICKS, edges_of, pulses_of, train

HALF = Thresholds(low=300, middle=500, high=700)
lengths = st.lists(st.integers(1, 40), min_size=1, max_size=60)
cuts = st.lists(st.integers(0, 3000), max_size=12)


@given(npst.arrays(np.int16, st.integers(0, 400), elements=st.integers(-50, 1050)), cuts)
def test_edges_are_the_same_wherever_the_samples_are_cut(samples: Samples, where: list[int]) -> None:
    inside = [cut for cut in where if cut < len(samples)]
    assert edges_of(samples, HALF, inside) == edges_of(samples, HALF)


@given(st.lists(st.integers(1, 9000), min_size=2, max_size=12), cuts)
def test_long_quiet_stretches_are_passed_over_without_losing_an_edge(widths: list[int], where: list[int]) -> None:
    samples = train(widths)
    inside = [cut for cut in where if cut < len(samples)]
    assert [tick // TICKS for tick, _ in edges_of(samples, HALF, inside)] == [
        end - 1 for end in np.cumsum(widths)[:-1].tolist()
    ]


@given(npst.arrays(np.int16, st.integers(1, 2000), elements=st.integers(-50, 1050)))
def test_falls_and_counts_agree_with_an_independent_hysteresis(samples: Samples) -> None:
    """scikit-image keeps what is above `low` and connected to what is above `high`: the same falls, earlier rises."""
    samples[0] = 0
    mask = apply_hysteresis_threshold(samples.astype(float), HALF.low + 0.5, HALF.high - 0.5)
    falls = np.flatnonzero(mask[:-1] & ~mask[1:]) + 1
    edges = edges_of(samples, HALF)
    assert sum(rising for _, rising in edges) == np.count_nonzero(mask[1:] & ~mask[:-1]) + int(mask[0])
    assert sum(not rising for _, rising in edges) == len(falls)
    # The instant lies at the last crossing of the middle, at or before the sample that proves the fall.
    ours = [-(-tick // TICKS) for tick, rising in edges if not rising]
    assert all(at <= fall for at, fall in zip(ours, falls.tolist(), strict=True))


@given(st.lists(st.tuples(st.integers(2, 30), st.integers(4, 60), st.integers(2, 30)), min_size=1, max_size=20))
def test_widths_at_half_height_agree_with_scipy_peak_widths(shapes: list[tuple[int, int, int]]) -> None:
    """Trapezoids; scipy.signal.peak_widths at half the prominence is IEEE 181's 50 % to 50 %."""
    parts = [np.zeros(10)]
    for rise, flat, fall in shapes:
        parts += [
            np.linspace(0, 1000, rise + 1)[1:],
            np.full(flat, 1000.0),
            np.linspace(1000, 0, fall + 1)[1:],
            np.zeros(10),
        ]
    samples = np.round(np.concatenate(parts)).astype(np.int16)
    peaks, _ = signal.find_peaks(samples, height=900, plateau_size=1)
    widths = signal.peak_widths(samples, peaks, rel_height=0.5)[0]
    ours = [(pulse.end - pulse.start) / TICKS for pulse in pulses_of(samples, HALF) if isinstance(pulse, Pulse)]
    np.testing.assert_allclose(ours, widths, atol=2 / TICKS)


def test_a_signal_still_high_at_the_end_is_no_pulse_yet() -> None:
    samples = train([5, 5])
    assert pulses_of(samples, HALF) == []
    assert [rising for _, rising in edges_of(samples, HALF)] == [True]


def test_the_last_fall_at_the_last_sample_is_found() -> None:
    assert [rising for _, rising in edges_of(train([5, 5, 1]), HALF)] == [True, False]


def test_an_event_of_one_sample_is_found() -> None:
    assert len(pulses_of(train([5, 1, 5]), HALF)) == 1


def test_positions_are_whole_ticks_however_far_into_the_recording() -> None:
    far = 2**40
    edges = edges_of(train([5, 5, 5]), HALF)
    assert all(isinstance(tick, int) for tick, _ in edges)
    assert float(far * TICKS + edges[0][0]) - far * TICKS == edges[0][0]


@given(lengths, cuts)
def test_an_event_across_two_blocks_counts_once(widths: list[int], where: list[int]) -> None:
    samples = train([3, *widths, 3])
    inside = [cut for cut in where if cut < len(samples)]
    assert len(edges_of(samples, HALF, inside)) == len(edges_of(samples, HALF))


def test_the_first_definite_sample_sets_the_state_without_an_edge() -> None:
    assert edges_of(train([0, 5, 5]), HALF) == [(4 * TICKS + TICKS // 2, False)]


def test_the_instant_of_a_slow_edge_is_where_it_last_crossed_the_middle() -> None:
    samples = np.array([0, 0, 450, 550, 450, 550, 650, 800, 800], np.int16)
    assert edges_of(samples, HALF) == [(4 * TICKS + TICKS // 2, True)]


def test_a_first_order_step_crosses_half_after_0_693_time_constants() -> None:
    """Closed form: 1 - exp(-t/tau) = 0.5 at t = tau ln 2 = 0.69315 tau."""
    tau, start = 50.0, 10
    time = np.arange(600) - start
    samples = np.round(np.where(time > 0, 30000 * (1 - np.exp(-np.maximum(time, 0) / tau)), 0)).astype(np.int16)
    ((tick, rising),) = edges_of(samples, Thresholds(10000, 15000, 20000))
    assert rising
    assert abs(tick / TICKS - (start + 0.69315 * tau)) < 0.02

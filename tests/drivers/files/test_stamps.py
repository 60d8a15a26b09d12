import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from drivers.files.stamps import Clock, StampFault, find_rate

PIECE = 20_000


def rounded(times: NDArray[np.float64], form: str) -> NDArray[np.float64]:
    return np.array([float(form % time) for time in times])


def indices_of(stamps: NDArray[np.float64], rate: float) -> NDArray[np.int64]:
    clock = Clock(rate)
    return np.concatenate([clock.indices(stamps[at : at + PIECE]) for at in range(0, len(stamps), PIECE)])


@pytest.mark.parametrize("form", ["%.9f", "%.6f", "%.7g", "%.8e", "%.17g"])
@pytest.mark.parametrize("rate_hz", [50000.0, 44100.0, 48000.0, 100000.0, 1e6, 1e6 / 3, 12345.678])
def test_rounded_stamps_give_the_rate_and_every_index(rate_hz: float, form: str) -> None:
    index = np.delete(np.arange(100_000), np.r_[30_000:30_123, 50_001])
    stamps = rounded(index / rate_hz, form)
    found = find_rate(stamps[:PIECE])
    assert found == pytest.approx(rate_hz, rel=1e-6)
    np.testing.assert_array_equal(indices_of(stamps, found), index)


@pytest.mark.parametrize("rate_hz", [50000.0, 44100.0, 48000.0, 25000.0, 31250.0])
def test_a_round_rate_is_found_exactly_from_microsecond_stamps(rate_hz: float) -> None:
    assert find_rate(rounded(np.arange(PIECE) / rate_hz, "%.6f")) == rate_hz


def test_stamps_that_repeat_because_of_rounding_lose_no_sample() -> None:
    index = np.arange(600_000)
    stamps = np.round(index / 50000.0, 6)
    stamps[stamps >= 10.0] = np.round(stamps[stamps >= 10.0], 4)
    assert len(np.unique(stamps)) < len(stamps)
    np.testing.assert_array_equal(indices_of(stamps, 50000.0), index)


@pytest.mark.parametrize("jitter", [0.1, 0.2, 0.3])
def test_jitter_of_a_third_of_a_step_loses_no_sample(jitter: float) -> None:
    index = np.arange(100_000)
    stamps = (index + np.random.default_rng(1).uniform(-jitter, jitter, len(index))) / 50000.0
    assert find_rate(stamps[:PIECE]) == 50000.0
    np.testing.assert_array_equal(indices_of(stamps, 50000.0), index)


def test_a_rate_that_is_slightly_off_does_not_add_up_over_a_long_file() -> None:
    index = np.arange(2_000_000)
    np.testing.assert_array_equal(indices_of(index / 50000.0, 50000.0 * (1 + 5e-6)), index)


def test_stamps_since_1970_keep_their_steps() -> None:
    index = np.delete(np.arange(50_000), np.r_[100:110])
    stamps = 1.76e9 + index / 50000.0
    found = find_rate(stamps[:PIECE])
    assert found == pytest.approx(50000.0, rel=1e-6)
    np.testing.assert_array_equal(indices_of(stamps, found), index)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(1, 400), st.integers(1, 5000)), min_size=1, max_size=8),
    st.sampled_from([1000.0, 44100.0, 50000.0, 1e6]),
    st.integers(1, 300),
)
def test_gaps_anywhere_are_exactly_as_long_as_what_is_missing(
    runs: list[tuple[int, int]], rate_hz: float, piece: int
) -> None:
    index, at = [], 0
    for length, missing in runs:
        index.append(np.arange(at, at + length))
        at += length + missing
    wanted = np.concatenate(index)
    clock = Clock(rate_hz)
    found = [clock.indices(wanted[at : at + piece] / rate_hz) for at in range(0, len(wanted), piece)]
    np.testing.assert_array_equal(np.concatenate(found), wanted)


@pytest.mark.parametrize(
    ("stamps", "row", "text"),
    [
        ([0.0, 1.0, 2.0, 1.5, 4.0], 3, "goes back from 2 to 1.5"),
        ([3.0, 3.0, 3.0, 3.0], 3, "does not advance"),
        ([3.0], 0, "does not advance"),
    ],
)
def test_stamps_without_a_rate_are_refused_with_their_row(stamps: list[float], row: int, text: str) -> None:
    with pytest.raises(StampFault, match=text) as caught:
        find_rate(np.array(stamps))
    assert caught.value.row == row


def test_a_stamp_that_goes_back_between_two_pieces_is_refused() -> None:
    clock = Clock(10.0)
    clock.indices(np.array([0.0, 0.1, 0.2]))
    with pytest.raises(StampFault, match="goes back") as caught:
        clock.indices(np.array([0.1, 0.2]))
    assert caught.value.row == 0


def test_a_rate_that_changes_on_the_way_is_refused() -> None:
    stamps = np.concatenate((np.arange(1000) / 50000.0, 1000 / 50000.0 + np.arange(1000) / 100000.0))
    with pytest.raises(StampFault, match="uneven"):
        Clock(50000.0).indices(stamps)

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.block import ChannelInfo, Counts, SampleBlock, StreamInfo
from monitor.flex.interruptions import Interruption, Interruptions, shortest_s
from monitor.hookup import Hookup
from monitor.setup import parse_setup

RATE_HZ = 100_000.0
SETUP = """
[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
[[channel]]
input = "in1"
role = "supply"
[[channel]]
input = "in2"
role = "ground"
cylinder = 1
[[channel]]
input = "in3"
role = "acknowledgement"
"""
INFO = StreamInfo(
    "key on", RATE_HZ, tuple(ChannelInfo(f"in{n}", 0.001) for n in (1, 2, 3)), np.dtype(np.int16), setup_toml=SETUP
)
SOUND_MV = np.array([[12_400], [20], [5_000]], np.int16)
GONE_MV = (0, 5_000, 0)


def key_on(samples: int = 200_000) -> Counts:
    return np.repeat(SOUND_MV, samples, axis=1)


def found_in(counts: Counts, cuts: tuple[int, ...] = ()) -> list[Interruption]:
    watch = Interruptions(Hookup.of(parse_setup(SETUP, "test"), INFO), INFO)
    edges = [0, *sorted(set(cuts) - {0, counts.shape[1]}), counts.shape[1]]
    pairs = pairwise(edges)
    return [one for a, b in pairs for one in watch.feed(SampleBlock(a, counts[:, a:b]))]


@pytest.mark.parametrize("row", [0, 1, 2])
def test_each_wire_that_is_gone_for_fifty_microseconds_is_found_with_its_time_and_length(row: int) -> None:
    counts = key_on()
    counts[row, 50_000:50_005] = GONE_MV[row]
    (seen,) = found_in(counts)
    assert (seen.input, seen.wire) == (f"in{row + 1}", ("feed", "ground", "line")[row])
    assert seen.start_s == pytest.approx(0.5, abs=1 / RATE_HZ)
    assert seen.end_s is not None
    assert seen.end_s - seen.start_s == pytest.approx(50e-6, abs=10e-6)


def test_what_is_shorter_is_interference_and_not_counted() -> None:
    counts = key_on()
    counts[:, 50_000:50_003] = np.array(GONE_MV)[:, None]
    assert found_in(counts) == []


def test_a_wire_that_stays_away_is_told_while_it_does_and_again_when_it_is_back() -> None:
    counts = key_on()
    counts[2, 20_000:120_000] = 0
    lost, back = found_in(counts)
    assert lost.end_s is None
    assert back.end_s is not None
    assert back.end_s - back.start_s == pytest.approx(1.0, abs=20e-6)


def test_at_a_gap_in_the_samples_what_was_under_way_ends_there() -> None:
    watch = Interruptions(Hookup.of(parse_setup(SETUP, "test"), INFO), INFO)
    counts = key_on()
    counts[2, 20_000:] = 0
    (lost,) = watch.feed(SampleBlock(0, counts))
    (ended,) = watch.feed(SampleBlock(500_000, key_on(1000)))
    assert lost.end_s is None
    assert ended.end_s == pytest.approx(2.0)


def test_the_shortest_that_counts_is_two_samples_where_they_are_longer_than_fifty_microseconds() -> None:
    assert shortest_s(100_000) == pytest.approx(50e-6)
    assert shortest_s(20_000) == pytest.approx(100e-6)


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(1_000, 39_000), st.integers(5, 400)), max_size=4),
    st.lists(st.integers(1, 39_999), max_size=6),
)
def test_however_the_blocks_are_cut_the_same_is_found(gone: list[tuple[int, int, int]], cuts: list[int]) -> None:
    counts = key_on(40_000)
    for row, start, samples in gone:
        counts[row, start : start + samples] = GONE_MV[row]
    whole = sorted(found_in(counts), key=repr)
    assert sorted(found_in(counts, tuple(cuts)), key=repr) == whole
    # Against counting runs by hand: what lies between two changes of a wire, five samples or more.
    runs = 0
    for row in range(3):
        away = np.concatenate(([0], counts[row] == GONE_MV[row], [0])).astype(np.int8)
        starts, ends = np.flatnonzero(np.diff(away) == 1), np.flatnonzero(np.diff(away) == -1)
        joined = [i for i in range(1, len(starts)) if starts[i] - ends[i - 1] < 5]
        if joined or (len(ends) and ends[-1] == counts.shape[1]):
            return
        runs += int(np.sum(ends - starts >= 5))
    assert len(whole) == runs

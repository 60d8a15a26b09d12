from itertools import pairwise

import pytest

from drivers.simulated.faults import Fault
from monitor.analyzer import Step
from monitor.flags import Flag, Kind, Severity
from monitor.trace.clips import AFTER_S, BEFORE_S
from monitor.trace.store import TraceStore
from tests.monitor.trace.streams import NOTHING, RATE_HZ, block, engine, info


def raised(number: int, at_s: float) -> Step:
    flag = Flag(number, Kind.SUPPLY_SAG, Severity.WARNING, 1, None, at_s, at_s, 1, "test")
    return Step((), (flag,))


def indices(store: TraceStore, start: int, end: int) -> list[int]:
    return [index for piece in store.pieces(0, start, end) for index in range(piece.first, piece.end)]


def small(clips_bytes: int = 10**6) -> TraceStore:
    """Its newest stretch holds 1.024 s."""
    return TraceStore(info(), newest_bytes=4096, clips_bytes=clips_bytes)


def test_the_memory_or_ten_seconds_bound_the_newest_stretch_whichever_is_less() -> None:
    assert small().size == 1024
    assert TraceStore(info()).size <= 10 * RATE_HZ < TraceStore(info()).size + 128


@pytest.mark.parametrize("piece", [1, 7, 100, 900])
def test_the_surroundings_of_a_flag_outlive_the_newest_stretch_however_blocks_are_cut(piece: int) -> None:
    store = small()
    for first in range(0, 6000, piece):
        is_there = first <= 2050 < first + piece
        store.take(block(first, piece), raised(1, 2.0) if is_there else NOTHING)
    assert indices(store, 0, 4000) == list(range(round(2000 - BEFORE_S * RATE_HZ), round(2000 + AFTER_S * RATE_HZ)))
    assert store.count(1, 2000) == 2000 * 7 + 1
    assert store.count(1, 1000) is None
    assert store.oldest == 1700


def test_no_sample_is_given_twice_where_surroundings_and_newest_stretch_meet() -> None:
    store = small()
    store.take(block(0, 500), NOTHING)
    for first in range(500, 1500, 100):
        store.take(block(first, 100), raised(first, first / RATE_HZ))
    found = indices(store, 0, 2000)
    assert found == sorted(set(found))
    assert found[-1] == 1499


def test_the_oldest_surroundings_go_when_their_memory_is_full() -> None:
    store = small(clips_bytes=2 * 500 * 4)
    for number in range(10):
        store.take(block(number * 1000, 1000), raised(number, number + 0.5))
    store.take(block(10_000, 1000), NOTHING)
    assert store.count(0, 7500) is None
    assert store.count(0, 8500) is not None


def test_a_long_gap_leaves_what_was_before_a_flag_and_is_told_as_lost() -> None:
    store = small()
    store.take(block(0, 1000), raised(1, 0.95))
    store.take(block(50_000, 100), NOTHING)
    assert indices(store, 0, 60_000) == [*range(650, 1000), *range(50_000, 50_100)]
    assert store.losses(0, 60_000) == [(1000, 50_000)]
    assert store.losses(2000, 3000) == [(2000, 3000)]
    assert store.losses(0, 1000) == []


def test_a_stream_that_begins_late_has_lost_what_was_before_it() -> None:
    store = small()
    store.take(block(300, 100), NOTHING)
    assert store.losses(0, 400) == [(0, 300)]


def test_firings_stay_with_the_samples_that_are_kept() -> None:
    store, _ = engine(Fault("no-answer", 4, start_s=1.0, end_s=1.2), duration_s=14.0)
    (flag,) = [flag for flag in store.flags if flag.kind is Kind.MISSING_ACKNOWLEDGEMENT]
    at = store.index(flag.start_s)
    assert store.count(0, store.index(flag.start_s - 0.6)) is None
    around = store.firings(at - 4000, at + 3000)
    assert {one.cylinder for one in around if one.outcome == "unacknowledged"} == {4}
    order = [1, 4, 2, 5, 3, 6]
    places = [order.index(one.cylinder) for one in around]
    assert len(around) >= 10
    assert all((b - a) % 6 == 1 for a, b in pairwise(places))
    assert store.firings(store.index(2.5), store.index(3.0)) == []

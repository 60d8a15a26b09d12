import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.scpi.dialect import Position
from drivers.scpi.placing import Behind, ByHostClock, ByInstrument, Misplaced

GAPS = st.lists(st.tuples(st.integers(1, 10**6), st.integers(0, 10**6)), min_size=1, max_size=20)


@given(blocks=GAPS, zero=st.integers(0, 2**62), wraps=st.booleans())
def test_a_counter_places_every_block_exactly(blocks: list[tuple[int, int]], zero: int, *, wraps: bool) -> None:
    modulus = 2**32 if wraps else None
    placing = ByInstrument(Position(before_block=True, modulus=modulus), 48_000.0)
    index = end = 0
    for samples, gap in blocks:
        told = zero + index
        assert placing.index(str(told % modulus if modulus else told), 0.0, end) == index
        end = index + samples
        index = end + gap


@given(blocks=GAPS, zero_ns=st.integers(0, 10**15), rate_hz=st.sampled_from([1000.0, 44_100.0, 50_000.0, 2.5e6]))
def test_a_clock_in_nanoseconds_places_every_block_exactly(
    blocks: list[tuple[int, int]], zero_ns: int, rate_hz: float
) -> None:
    placing = ByInstrument(Position(ask="T?", unit="seconds"), rate_hz)
    index = end = 0
    for samples, gap in blocks:
        told_ns = zero_ns + round(index * 10**9 / rate_hz)
        assert placing.index(f"{told_ns // 10**9}.{told_ns % 10**9:09d}", 0.0, end) == index
        end = index + samples
        index = end + gap + (gap == 1)


def test_a_clock_that_is_rounded_by_less_than_a_sample_makes_no_overlap() -> None:
    placing = ByInstrument(Position(ask="T?", unit="seconds"), 3000.0)
    assert placing.index("0.000", 0.0, 0) == 0
    assert placing.index("0.333", 0.0, 1000) == 1000


@pytest.mark.parametrize("told", ["", "x", "nan", "inf", "1e999", "1;2", "0x10", "1/3", "9" * 99])
def test_what_is_no_number_places_nothing(told: str) -> None:
    with pytest.raises(Misplaced, match="no place of a block"):
        ByInstrument(Position(before_block=True), 1.0).index(told, 0.0, 0)


@given(told=st.text(max_size=80))
def test_any_text_is_a_place_or_refused(told: str) -> None:
    try:
        outcome = str(ByInstrument(Position(before_block=True), 1.0).index(told, 0.0, 0))
    except Misplaced as error:
        outcome = str(error)
    assert outcome == "0" or (outcome.endswith("a number would be") and len(outcome.splitlines()) == 1)


def test_a_counter_that_goes_back_is_refused() -> None:
    placing = ByInstrument(Position(before_block=True), 1.0)
    placing.index("100", 0.0, 0)
    with pytest.raises(Misplaced, match="start at sample 5, but the one before ended at 10"):
        placing.index("105", 0.0, 10)


def test_the_hosts_clock_places_frames_by_when_they_were_armed() -> None:
    placing = ByHostClock(1000.0)
    assert [placing.index("", armed_s, end) for armed_s, end in [(7.0, 0), (7.5, 400), (7.6, 900)]] == [0, 500, 901]


def test_without_any_clock_a_block_stands_behind_the_one_before() -> None:
    assert Behind().index("", 0.0, 123) == 123

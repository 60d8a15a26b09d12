import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.road.keys import HELD_S, SPLIT_S, Keys, Wish

ARROW, KEYPAD_1, F5 = b"\x1b[A", b"\x1bOq", b"\x1b[15~"


@pytest.mark.parametrize(
    "key", [b" ", b"x", b"\r", b"\x1b", b"\x00", b"\x1a", b"\xff", "é".encode(), ARROW, F5, b"b\r"]
)
def test_any_key_is_one_mark(key: bytes) -> None:
    assert Keys().feed(key, 100.0) is Wish.MARK


@pytest.mark.parametrize("key", [b"q", b"Q", b"qqq"])
def test_q_stops(key: bytes) -> None:
    assert Keys().feed(key, 100.0) is Wish.STOP


@pytest.mark.parametrize("key", [KEYPAD_1, b"\x1bq", b"a quick text that was pasted", b"\x1b[200~q\x1b[201~"])
def test_a_q_that_is_part_of_something_does_not_stop(key: bytes) -> None:
    assert Keys().feed(key, 100.0) is Wish.MARK


@given(st.sampled_from([ARROW, KEYPAD_1, F5, b"\x1bq"]), st.data())
def test_an_escape_sequence_is_one_key_wherever_it_is_cut(sequence: bytes, data: st.DataObject) -> None:
    cut = data.draw(st.integers(1, len(sequence) - 1))
    keys = Keys()
    assert keys.feed(sequence[:cut], 100.0) is Wish.MARK
    assert keys.feed(sequence[cut:], 100.0 + SPLIT_S / 2) is None


def test_q_after_an_escape_key_of_its_own_stops() -> None:
    keys = Keys()
    keys.feed(b"\x1b", 100.0)
    assert keys.feed(b"q", 100.0 + 2 * SPLIT_S) is Wish.STOP


def test_a_key_held_for_a_minute_is_one_mark() -> None:
    keys = Keys()
    times = [100.0, 100.66, *(100.66 + 0.04 * repeat for repeat in range(1, 1500))]
    assert [keys.feed(b"x", time_s) for time_s in times] == [Wish.MARK] + [None] * 1500


def test_two_presses_a_moment_apart_are_two_marks() -> None:
    keys = Keys()
    assert keys.feed(b"x", 100.0) is Wish.MARK
    assert keys.feed(b"x", 100.0 + 1.1 * HELD_S) is Wish.MARK


@given(st.lists(st.tuples(st.binary(min_size=1, max_size=8), st.floats(0.0, 3.0)), min_size=1))
def test_whatever_is_typed_there_is_no_mark_without_a_pause_before_it(typed: list[tuple[bytes, float]]) -> None:
    keys, now_s = Keys(), 100.0
    keys.feed(b"x", now_s)
    for data, pause_s in typed:
        before_s, now_s = now_s, now_s + pause_s
        if keys.feed(data, now_s) is Wish.MARK:
            assert now_s - before_s > HELD_S

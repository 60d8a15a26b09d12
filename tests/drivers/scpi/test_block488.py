import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.scpi.block488 import MOST_BYTES, BlockHeader, parse_header


@given(data=st.binary(max_size=300), behind=st.binary(max_size=5), zeros=st.integers(0, 3))
def test_a_definite_block_is_known_as_soon_as_its_length_is(data: bytes, behind: bytes, zeros: int) -> None:
    length = "0" * zeros + str(len(data))
    begin = f"#{len(length)}{length}".encode()
    assert parse_header(begin + data + behind) == BlockHeader(len(begin), len(data))
    for cut in range(len(begin)):
        assert parse_header(begin[:cut]) is None


@given(data=st.binary(max_size=300))
def test_the_length_of_an_indefinite_block_is_left_open(data: bytes) -> None:
    assert parse_header(b"#0" + data + b"\n") == BlockHeader(2, None)


@given(message=st.binary(max_size=30))
def test_any_bytes_are_a_block_or_incomplete_or_refused(message: bytes) -> None:
    outcome = ""
    try:
        header = parse_header(message)
    except ValueError as error:
        header, outcome = None, str(error)
    assert header is None or 2 <= header.offset <= 11
    assert len(outcome.splitlines()) <= 1


@pytest.mark.parametrize("message", [b"x", b"1.5\n", b"#x", b"#A00", b"#-1", b"#2x0", b"#21x", b"#3 12"])
def test_what_is_no_block_is_refused(message: bytes) -> None:
    with pytest.raises(ValueError, match=r"block"):
        parse_header(message)


def test_a_length_that_no_instrument_can_mean_is_refused() -> None:
    assert parse_header(f"#9{MOST_BYTES}".encode()) == BlockHeader(11, MOST_BYTES)
    with pytest.raises(ValueError, match="the most that is believed"):
        parse_header(f"#9{MOST_BYTES + 1}".encode())

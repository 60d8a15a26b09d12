"""CRC-32 and COBS against what is published, for the decoder's libraries and for the tests' own encoder."""

import zlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from tests.drivers.serial_board.encoding import stuff

# Cheshire & Baker, "Consistent Overhead Byte Stuffing", SIGCOMM 1997, and vectors published with implementations of it.
COBS_VECTORS = [
    (b"", b"\x01"),
    (b"\0", b"\x01\x01"),
    (b"\0\0", b"\x01\x01\x01"),
    (b"12345\x006789", b"\x0612345\x056789"),
    (b"\x0012345\x006789", b"\x01\x0612345\x056789"),
    (b"12345\x006789\0", b"\x0612345\x056789\x01"),
    (bytes(range(1, 255)), b"\xff" + bytes(range(1, 255))),
    (bytes(range(1, 256)), b"\xff" + bytes(range(1, 255)) + b"\x02\xff"),
    (bytes(range(256)), b"\x01\xff" + bytes(range(1, 255)) + b"\x02\xff"),
]
COBS_REFUSED = [b"\0", b"\x05123", b"\x051234\0"]


def test_crc_32_has_the_check_value_of_the_catalogue() -> None:
    """CRC-32/ISO-HDLC of "123456789" is CBF43926h in the catalogue of parametrised CRC algorithms."""
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.parametrize(("plain", "stuffed"), COBS_VECTORS)
def test_cobs_gives_the_published_vectors_both_ways(plain: bytes, stuffed: bytes) -> None:
    assert cobs.encode(plain) == stuff(plain) == stuffed
    assert cobs.decode(stuffed) == plain


@pytest.mark.parametrize("stuffed", COBS_REFUSED)
def test_cobs_refuses_what_was_never_stuffed(stuffed: bytes) -> None:
    with pytest.raises(cobs.DecodeError):
        cobs.decode(stuffed)


@given(st.binary(max_size=1100))
def test_cobs_costs_no_more_than_the_paper_says_and_holds_no_zero(plain: bytes) -> None:
    """At most one byte in 254, and one: n + 1 + floor(n / 254)."""
    stuffed = stuff(plain)
    assert b"\0" not in stuffed
    assert len(stuffed) <= len(plain) + 1 + len(plain) // 254
    assert cobs.decode(stuffed) == plain
    assert cobs.encode(plain) == stuffed

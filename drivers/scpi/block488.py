"""Arbitrary blocks of IEEE 488.2: definite `#` n length data, and indefinite `#0` data NL at the end of the message."""

from dataclasses import dataclass

MOST_BYTES = 1 << 28
"""More than one answer should bring, and more than we want in memory; a length above it is likely a damaged one."""


@dataclass(frozen=True, slots=True)
class BlockHeader:
    """`offset` bytes stand before the data; `length` bytes are data, None where only the message's end tells."""

    offset: int
    length: int | None


def parse_header(begin: bytes) -> BlockHeader | None:
    """Understand how a block begins (IEEE 488.2, 7.7.6 and 8.7.9 and 8.7.10); None where more bytes are needed.

    Raises ValueError where no block can begin so.
    """
    if begin and begin[:1] != b"#":
        raise ValueError(f"a block begins with #, not with {begin[:16]!r}")
    if len(begin) < 2:
        return None
    if not begin[1:2].isdigit():
        raise ValueError(f"after the # of a block comes a digit, not {begin[1:2]!r}")
    digits = int(begin[1:2])
    if digits == 0:
        return BlockHeader(2, None)
    length = begin[2 : 2 + digits]
    if not (length or b"0").isdigit():
        raise ValueError(f"the length of a block has {digits} digits, not {length!r}")
    if len(length) < digits:
        return None
    if int(length) > MOST_BYTES:
        raise ValueError(f"a block of {int(length)} bytes is longer than {MOST_BYTES}, the most that is believed")
    return BlockHeader(2 + digits, int(length))

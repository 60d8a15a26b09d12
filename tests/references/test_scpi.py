"""Values of IEEE Std 488.2 (arbitrary blocks) and of SCPI-99 volume 2 (errors)."""

import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa.util import parse_ieee_block_header

from drivers.scpi.block488 import BlockHeader, parse_header
from drivers.scpi.instrument import parse_error, worded_error

# IEEE Std 488.2: 8.7.9 definite length, 8.7.10 indefinite length arbitrary block response data.
BLOCKS = [
    (b"#12AB", BlockHeader(3, 2)),
    (b"#12\r\n", BlockHeader(3, 2)),
    (b"#3100" + bytes(range(100)), BlockHeader(5, 100)),
    (b"#0AB\r\n\n", BlockHeader(2, None)),
    (b"#0\n", BlockHeader(2, None)),
    (b"#10", BlockHeader(3, 0)),
]


@pytest.mark.parametrize(("message", "header"), BLOCKS)
def test_blocks_of_ieee_488_2(message: bytes, header: BlockHeader) -> None:
    assert parse_header(message) == header


@pytest.mark.parametrize("message", [b"", b"#", b"#1", b"#310"])
def test_incomplete_headers_of_ieee_488_2(message: bytes) -> None:
    assert parse_header(message) is None


@given(data=st.binary(min_size=1, max_size=2000), digits=st.integers(4, 9))
def test_headers_are_understood_as_pyvisa_understands_them(data: bytes, digits: int) -> None:
    """An independent implementation: pyvisa.util.parse_ieee_block_header."""
    message = f"#{digits}{len(data):0{digits}}".encode() + data
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = parse_ieee_block_header(message)
    assert parse_header(message) == BlockHeader(*theirs)


# SCPI-99 volume 2, 21.8: number, "text"; the hundreds tell the class; 0 is an empty queue, -350 one that ran over.
ERRORS = [
    ('0,"No error"', 0, "0 No error"),
    ('+0,"No error"', 0, "0 No error"),
    ('-113,"Undefined header;FREQ"', -113, "-113 Undefined header;FREQ (command error)"),
    ('-222,"Data out of range"', -222, "-222 Data out of range (execution error)"),
    ('-350,"Queue overflow"', -350, "-350 Queue overflow (device-specific error)"),
    ('-363,"Input buffer overrun"', -363, "-363 Input buffer overrun (device-specific error)"),
    ('-410,"Query INTERRUPTED"', -410, "-410 Query INTERRUPTED (query error)"),
    ('101,"Fan stands still"', 101, "101 Fan stands still"),
]


@pytest.mark.parametrize(("answer", "number", "worded"), ERRORS)
def test_errors_of_scpi_99(answer: str, number: int, worded: str) -> None:
    assert parse_error(answer)[0] == number
    assert worded_error(*parse_error(answer)) == worded

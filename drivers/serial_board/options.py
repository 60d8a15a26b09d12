"""From an address to a board.

    serial:/dev/ttyACM0?baud=2000000
    serial:COM5?dialect=lines&baud=500000&rate=1000&inputs=3&bits=12&range_v=3.3&patience_s=3

What stands before the ? is the port; a port that is USB itself does not mind `baud`. `dialect` is frames unless said.
Frames describe themselves. Lines need `rate` in Hz; `inputs` is learned unless said; their numbers are volts, or with
`bits` counts from 0 to 2^bits - 1, of which each is range_v / 2^bits (range_v=-10,10 for a range that begins below 0).
`patience_s` is how long nothing may come.
"""

import functools

from serial import EIGHTBITS, Serial, SerialException

from acquire.errors import AddressError, one_line
from drivers.address import Address
from drivers.serial_board.dialect import Dialect
from drivers.serial_board.frames import Frames
from drivers.serial_board.lines import MOST_INPUTS, Lines, Scale
from drivers.serial_board.source import READ_S, SerialBoard

_KEYS = ("baud", "dialect", "patience_s")
_LINES_KEYS = ("rate", "inputs", "bits", "range_v")


def source_from(address: Address) -> SerialBoard:
    """Make the source without touching the port. Raises AddressError naming the key and what is right."""
    if not address.path:
        raise address.error("port", "none given; try serial:/dev/ttyACM0 or see what is there with: coilcall sources")
    dialect = _dialect(address)
    baud = address.whole("baud", 115_200, 50, 50_000_000)
    connect = functools.partial(connect_port, address.text, address.path, baud)
    return SerialBoard(address.text, connect, dialect, address.number("patience_s", 3.0, 0.05, 600.0))


def connect_port(name: str, path: str, baud: int) -> Serial:
    """Open the port for us alone. Raises AddressError."""
    try:
        return Serial(path, baud, EIGHTBITS, timeout=READ_S, write_timeout=READ_S, exclusive=True)
    except (SerialException, OSError, ValueError, OverflowError) as error:
        reason = one_line(getattr(error, "strerror", None) or error)
        raise AddressError(f"{name}: {path} cannot be opened at {baud} baud: {reason}") from error


def _dialect(address: Address) -> Dialect:
    if address.choice("dialect", "frames", ("frames", "lines")) == "lines":
        address.allow(*_KEYS, *_LINES_KEYS)
        return _lines(address)
    for key in _LINES_KEYS:
        if key in address.query:
            raise address.error(key, "frames describe themselves; it goes with dialect=lines only")
    address.allow(*_KEYS)
    return Frames(address.text)


def _lines(address: Address) -> Lines:
    rate_hz = address.number("rate", None, 1e-3, 1e7)
    if rate_hz is None:
        raise address.error("rate", "lines do not tell their rate; say it in Hz, like rate=1000")
    return Lines(rate_hz, _scale(address), address.whole("inputs", None, 1, MOST_INPUTS))


def _scale(address: Address) -> Scale:
    bits, text = address.whole("bits", None, 1, 24), address.string("range_v", None)
    if (bits is None) != (text is None):
        raise address.error("bits", "bits and range_v go together; without them the numbers are volts")
    if bits is None or text is None:
        return Scale()
    low_v, high_v = _range(address, text)
    return Scale(bits, low_v, high_v)


def _range(address: Address, text: str) -> tuple[float, float]:
    try:
        *low, high_v = map(float, text.split(","))
        (low_v,) = low or [0.0]
    except ValueError:
        raise address.error("range_v", f'"{text}" is no range, like 3.3 or -10,10') from None
    if not -1e4 <= low_v < high_v <= 1e4:
        raise address.error("range_v", f"{low_v:g} to {high_v:g} is no range of volts that rises")
    return low_v, high_v

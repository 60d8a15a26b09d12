"""The lines dialect: one line of plain numbers a sample, as any microcontroller's print gives them.

Between numbers stands any run of spaces, tabs, commas, semicolons, colons or bars; a line ends with LF, CR or both.
A line that is no row of so many numbers is one lost sample, or where ends of lines went missing as many as it was made
of. Lines before the first row (a header, a greeting) are no samples, nor are empty ones.

Nothing checks a line. What can't be seen: a digit changed or missing inside a number, a line missing whole, an end of
line where none was (it counts twice). Each of the last two moves all that follows by one sample. Frames have neither.
"""

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo, SampleBlock
from drivers.files.volts import HIGH_COUNT, LOW_COUNT, MICROVOLT, blocks_of, to_counts
from drivers.serial_board.dialect import Form

MOST_INPUTS = 32
MOST_LINE_BYTES = 1024
ROWS_TO_LEARN = 16
"""So many lines tell how many numbers make a row, where the address doesn't."""

_NUMBER = rb"[+-]?+(?:\d++\.?+\d*+|\.\d++)(?:[eE][+-]?+\d++)?+"
_COUNT = rb"\+?+\d++"
_SEPARATOR = rb"[ \t,;:|]"
_ANY_ROW = _SEPARATOR + rb"*+" + _NUMBER + rb"(?:" + _SEPARATOR + rb"++" + _NUMBER + rb")*+" + _SEPARATOR + rb"*+"
_TO_SPACES = bytes.maketrans(b",;:|\t", b"     ")
_PIECE = re.compile(rb"[^ \t,;:|\n]++")


@dataclass(frozen=True, slots=True)
class Scale:
    """What a number means: volts, or with `bits` counts 0 to 2^bits - 1 that span low_v to high_v."""

    bits: int | None = None
    low_v: float = 0.0
    high_v: float = 0.0

    def channel(self, number: int) -> ChannelInfo:
        """Describe one input."""
        if self.bits is None:
            return ChannelInfo(f"in{number}", MICROVOLT, 0.0, LOW_COUNT, HIGH_COUNT)
        volts_per_count = (self.high_v - self.low_v) / 2**self.bits
        return ChannelInfo(f"in{number}", volts_per_count, self.low_v, 0, 2**self.bits - 1)


class Lines:
    """A Dialect. Sample 0 is the first whole row; counts are int32."""

    def __init__(self, rate_hz: float, scale: Scale, inputs: int | None) -> None:
        self.form: Form | None = None
        self._rate_hz, self._scale = rate_hz, scale
        self.frames_missing = 0  # nothing numbers a line
        self._rest: bytes | None = None
        self._next_index = 0
        self._inputs = inputs
        self._unlearnt = b""

    def feed(self, data: bytes) -> list[SampleBlock]:
        """Take bytes, cut anywhere; give counts (inputs, samples)."""
        text = self._whole_lines(data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"))
        if self.form is None:
            text = self._learn(text)
        return self._blocks(text) if text else []

    def hint(self) -> str:
        """Say what else it may be."""
        wanted = f"{self._inputs} numbers" if self._inputs else "as many numbers each"
        kind = "" if self._scale.bits is None else f", whole and below {2**self._scale.bits},"
        return f"not enough lines of {wanted}{kind} among them; baud=, inputs= or bits= may not be the board's"

    def _whole_lines(self, data: bytes) -> bytes:
        """Keep the last line until it is whole; the first one may have begun before we listened."""
        if self._rest is None:
            _, found, data = data.partition(b"\n")
            self._rest = b"" if found else None
        text, found, rest = ((self._rest or b"") + data).rpartition(b"\n")
        if self._rest is not None:
            self._rest = rest if len(rest) <= MOST_LINE_BYTES else rest[:MOST_LINE_BYTES] + b"?"
        return text + found

    def _learn(self, text: bytes) -> bytes:
        """Learn how many numbers a row has; give the lines from the first row on, or none yet."""
        text = self._unlearnt + text
        inputs = self._inputs or _usual_row(text)
        first = re.search(rb"(?m)" + _row(inputs, self._scale), text) if inputs else None
        if not inputs or not first:
            self._unlearnt = _latest_lines(text)
            return b""
        self._inputs = inputs
        self._damaged = re.compile(rb"(?m)^(?!" + _row(inputs, self._scale) + rb").*\n")
        channels = tuple(self._scale.channel(number) for number in range(1, inputs + 1))
        self.form = Form(self._rate_hz, channels, np.dtype(np.int32))
        self._unlearnt = b""
        return text[first.start() :]

    def _blocks(self, text: bytes) -> list[SampleBlock]:
        whole = self._damaged.sub(self._lost_rows, text)
        if not whole.strip():
            return []
        values = np.fromstring(whole.translate(_TO_SPACES), np.float64, sep=" ").reshape(-1, self._inputs or 1)
        index = np.arange(self._next_index, self._next_index + len(values))
        self._next_index += len(values)
        counts = np.empty(values.shape, np.int32)
        to_counts(values, 1.0 / MICROVOLT if self._scale.bits is None else 1.0, counts)
        return list(blocks_of(counts.T, index, self._present(values)))

    def _present(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        limit = np.inf if self._scale.bits is None else 2**self._scale.bits
        present: NDArray[np.bool_] = np.all(np.abs(values) < limit, axis=1)
        return present

    def _lost_rows(self, damaged: re.Match[bytes]) -> bytes:
        """Put rows of NaN where a line can't be read: n rows run together make n (inputs - 1) + 1 pieces."""
        pieces = len(_PIECE.findall(damaged[0]))
        inputs = self._inputs or 1
        rows = max((pieces - 1) // max(inputs - 1, 1), 1) if pieces else 0
        return b"nan " * (rows * inputs) + b"\n"


def _latest_lines(text: bytes) -> bytes:
    """Give the last lines, enough to learn from."""
    most = (ROWS_TO_LEARN + 1) * MOST_LINE_BYTES
    return text if len(text) <= most else text[-most:].partition(b"\n")[2]


def _row(inputs: int, scale: Scale) -> bytes:
    """Give the pattern of a whole line; nothing in it can be matched in two ways, so no line takes long."""
    number = _NUMBER if scale.bits is None else _COUNT
    more = rb"(?:" + _SEPARATOR + rb"++" + number + rb"){%d}" % (inputs - 1)
    return rb"^" + _SEPARATOR + rb"*+" + number + more + _SEPARATOR + rb"*+$"


def _usual_row(text: bytes) -> int | None:
    """Give how many numbers most lines of nothing but numbers have."""
    rows = re.findall(rb"(?m)^" + _ANY_ROW + rb"$", text)
    if len(rows) < ROWS_TO_LEARN:
        return None
    inputs, _ = Counter(len(_PIECE.findall(row)) for row in rows).most_common(1)[0]
    return min(inputs, MOST_INPUTS)

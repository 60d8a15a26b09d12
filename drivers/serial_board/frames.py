"""The frames dialect, whose format is specified in FRAMES.md, taken apart.

A frame counts only where its CRC holds. Its samples stand where it says, so a frame that was lost is a gap of exactly
its length; one that comes again is left out.
"""

import struct
import zlib
from dataclasses import dataclass

import numpy as np
from cobs import cobs

from acquire.block import ChannelInfo, SampleBlock
from acquire.errors import SourceLost
from drivers.serial_board.dialect import Form

VERSION = 1
DESCRIPTION, SAMPLES = 1, 2
MOST_BYTES = 8192
"""The longest frame before it is stuffed, its CRC included."""
OLD_FRAMES = 64
"""So many frames in a row from before the last one are no echo: the board has begun again."""

_HEAD = struct.Struct("<BBHIQ")
_RATE = struct.Struct("<HxxI")
_INPUT = struct.Struct("<iihh")
_CRC_BYTES = 4
_MOST_STUFFED = MOST_BYTES + MOST_BYTES // 254 + 1
_LAST_INDEX = 2**62


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame whose CRC holds: `index` is that of its first sample, or of the next one for a description."""

    kind: int
    inputs: int
    run: int
    sequence: int
    index: int
    body: bytes


def parse_frame(stuffed: bytes) -> Frame | None:
    """Read what stood between two delimiters; None where it is not what was sent."""
    try:
        plain = cobs.decode(stuffed)
    except cobs.DecodeError:
        return None
    if not _HEAD.size + _CRC_BYTES <= len(plain) <= MOST_BYTES:
        return None
    if zlib.crc32(plain[:-_CRC_BYTES]) != int.from_bytes(plain[-_CRC_BYTES:], "little"):
        return None
    kind, inputs, run, sequence, index = _HEAD.unpack_from(plain)
    return Frame(kind, inputs, run, sequence, index, plain[_HEAD.size : -_CRC_BYTES])


def parse_description(frame: Frame) -> Form | None:
    """Read what the board says of itself; None where it cannot be."""
    if frame.inputs == 0 or len(frame.body) != _RATE.size + frame.inputs * _INPUT.size:
        return None
    version, rate_millihertz = _RATE.unpack_from(frame.body)
    inputs = list(_INPUT.iter_unpack(frame.body[_RATE.size :]))
    if version != VERSION or not rate_millihertz or not all(scale and low < high for scale, _, low, high in inputs):
        return None
    channels = tuple(
        ChannelInfo(f"in{number}", scale * 1e-9, offset * 1e-6, low, high)
        for number, (scale, offset, low, high) in enumerate(inputs, start=1)
    )
    return Form(rate_millihertz / 1000, channels, np.dtype(np.int16))


class Frames:
    """A Dialect. Sample 0 is the first one after the first description."""

    def __init__(self, name: str) -> None:
        self.form: Form | None = None
        self.frames_damaged = 0
        """Pieces between delimiters that were no frame."""
        self.frames_missing = 0
        """Frames that were sent, by their sequence, and did not come: lost on the way, not in the board."""
        self._name = name
        self._rest = b""
        self._run = self._zero = self._sequence = self._end = self._old = 0

    def feed(self, data: bytes) -> list[SampleBlock]:
        """Take bytes, cut anywhere; give counts (inputs, samples) int16. Raises SourceLost where the board restarts."""
        *pieces, rest = (self._rest + data).split(b"\0")
        self._rest = rest if len(rest) <= _MOST_STUFFED else b"\1"  # what is too long stays damaged to its end
        frames = [self._checked(piece) for piece in pieces if piece]
        return self._blocks([frame for frame in frames if frame and self._is_next(frame)])

    def hint(self) -> str:
        """Say what else it may be: text has no delimiter, a wrong baud rate has some but no frame."""
        return "baud= may not be the board's, or it sends text: then say dialect=lines&rate=..."

    def _checked(self, piece: bytes) -> Frame | None:
        frame = parse_frame(piece) if len(piece) <= _MOST_STUFFED else None
        if frame is None or frame.index >= _LAST_INDEX:
            self.frames_damaged += 1
            return None
        return frame

    def _is_next(self, frame: Frame) -> bool:
        """Tell whether a frame goes on where the last one ended, or later; learn the form from a description."""
        if self.form is None:
            self._begin(frame)
            return False
        if frame.run != self._run:
            raise SourceLost(f"{self._name}: the board has started again")
        if frame.index < self._end or frame.sequence == self._sequence:
            self._old += 1
            if self._old >= OLD_FRAMES:
                raise SourceLost(f"{self._name}: the board counts from before: it has started again")
            return False
        self._follow(frame)
        return frame.kind == SAMPLES and self._take(frame)

    def _begin(self, frame: Frame) -> None:
        if frame.kind == DESCRIPTION:
            self.form = parse_description(frame)
            self._run, self._sequence = frame.run, frame.sequence
            self._zero = self._end = frame.index

    def _follow(self, frame: Frame) -> None:
        self._old = 0
        self.frames_missing += (frame.sequence - self._sequence - 1) % 2**32
        self._sequence = frame.sequence
        if frame.kind == DESCRIPTION and parse_description(frame) != self.form:
            raise SourceLost(f"{self._name}: the board now describes itself otherwise: rate, inputs or ranges changed")

    def _take(self, frame: Frame) -> bool:
        assert self.form is not None
        samples, odd = divmod(len(frame.body), 2 * len(self.form.channels))
        if odd or not samples or frame.inputs != len(self.form.channels):
            self.frames_damaged += 1
            return False
        self._end = frame.index + samples
        return True

    def _blocks(self, frames: list[Frame]) -> list[SampleBlock]:
        """Join frames that follow each other without a gap."""
        blocks: list[SampleBlock] = []
        first = 0
        for number, frame in enumerate(frames):
            width = 2 * frame.inputs
            ends = frame.index + len(frame.body) // width
            if number + 1 == len(frames) or frames[number + 1].index != ends:
                joined = b"".join(one.body for one in frames[first : number + 1])
                counts = np.frombuffer(joined, "<i2").reshape(-1, frame.inputs).T
                blocks.append(SampleBlock(frames[first].index - self._zero, counts))
                first = number + 1
        return blocks

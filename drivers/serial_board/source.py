"""A board on a serial port, as a source of samples."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import timedelta
from itertools import takewhile

from serial import Serial

from acquire.block import SampleBlock, StreamInfo
from acquire.clock import Clock, SystemClock
from acquire.errors import AddressError, SourceLost
from acquire.source import Health
from drivers.files.guard import Guard
from drivers.serial_board.board_clock import ClockComparison
from drivers.serial_board.dialect import Dialect, Form

READ_S = 0.02
"""A read waits at most so long, and what comes within that time is taken apart at once."""
MOST_READ_BYTES = 1 << 18


class SerialBoard:
    """A Source. Everything but `close` belongs in one thread.

    `connect` opens the port, whose own timeout is READ_S. Sample 0 is the first that was understood; its time is
    that of its arrival, later than it was taken by what the line and the host need.
    """

    def __init__(
        self, name: str, connect: Callable[[], Serial], dialect: Dialect, patience_s: float, clock: Clock | None = None
    ) -> None:
        self._name, self._connect, self._dialect = name, connect, dialect
        self._patience_s, self._clock = patience_s, clock or SystemClock()
        self._guard = Guard(name)
        self._comparison: ClockComparison | None = None
        self._pending: list[SampleBlock] = []

    @property
    def clock_error_ppm(self) -> float | None:
        """How much faster than it says the board samples, by the host's clock; None for the first seconds."""
        return self._comparison.error_ppm if self._comparison else None

    @property
    def health(self) -> Health:
        """The board's clock, and the frames that its line lost. From any thread."""
        return Health(self.clock_error_ppm, self._dialect.frames_missing)

    def open(self) -> StreamInfo:
        """Open the port and listen until it is clear what comes. Raises AddressError, SourceLost where it is closed."""
        self._port = self._connect()
        self._guard.hold(self._port)
        with self._guard.opening():
            form = self._listen()
        self._comparison = ClockComparison(form.sample_rate_hz)
        arrived = sum(block.samples for block in self._pending)
        age_s = arrived / form.sample_rate_hz
        return StreamInfo(
            source=self._name,
            sample_rate_hz=form.sample_rate_hz,
            channels=form.channels,
            dtype=form.dtype,
            is_live=True,
            started_monotonic_s=self._clock.now() - age_s,
            started_utc=self._clock.utc() - timedelta(seconds=age_s),
        )

    def blocks(self) -> Iterator[SampleBlock]:
        """Give blocks until closed. Raises SourceLost when the port fails or nothing can be understood any more."""
        try:
            yield from takewhile(lambda _: not self._guard.closed, self._blocks())
        finally:
            self.close()

    def close(self) -> None:
        """End within one read."""
        self._guard.closed = True  # so that the next read cannot overtake the closing
        self._guard.close()

    def _listen(self) -> Form:
        """Wait for the dialect to know the form."""
        began_s, came = self._clock.now(), 0
        while (data := self._read()) is not None:
            came += len(data)
            self._pending += self._dialect.feed(data)
            if self._dialect.form is not None:
                return self._dialect.form
            if self._clock.now() - began_s > self._patience_s:
                raise AddressError(self._complaint(came))
        raise SourceLost(f"{self._name}: closed before it was open")

    def _blocks(self) -> Iterator[SampleBlock]:
        yield from self._pending
        self._pending = []
        sample_s, came = self._clock.now(), 0
        while (data := self._read()) is not None:
            now_s, came = self._clock.now(), came + len(data)
            blocks = self._dialect.feed(data)
            if blocks:
                sample_s, came = now_s, 0
                self._compare(blocks[-1].end_index, now_s)
            elif now_s - sample_s > self._patience_s:
                raise SourceLost(self._complaint(came))
            yield from blocks

    def _compare(self, end_index: int, now_s: float) -> None:
        if self._comparison is not None:
            self._comparison.arrived(end_index, now_s)

    def _read(self) -> bytes | None:
        """Give what comes within READ_S or a little more, as one piece; None once closed. Raises SourceLost."""
        end_s = self._clock.now() + READ_S
        data = self._guard.read(self._some)
        with suppress(SourceLost):  # what came before the port failed counts; the next read fails again
            while data and len(data) < MOST_READ_BYTES and self._clock.now() < end_s:
                data += self._guard.read(self._some) or b""
        return data

    def _some(self) -> bytes:
        return bytes(self._port.read(max(self._port.in_waiting, 1)))

    def _complaint(self, came: int) -> str:
        """Say what came instead of samples."""
        if not came:
            asked = "is the board powered and running, and is this its port?"
            return f"{self._name}: nothing came for {self._patience_s:g} s; {asked}"
        return f"{self._name}: {came} bytes came in {self._patience_s:g} s and no sample; {self._dialect.hint()}"

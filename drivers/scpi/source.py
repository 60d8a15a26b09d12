"""An instrument that speaks SCPI, as a source of samples."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.clock import Clock, SystemClock
from acquire.errors import AddressError, SourceLost, one_line
from drivers.scpi.fetching import FrameFetcher, Link, StreamFetcher
from drivers.scpi.instrument import Instrument
from drivers.scpi.samples import LinearScale, SampleFormat
from drivers.scpi.wire import Closed, Silent, Wire

if TYPE_CHECKING:
    from drivers.scpi.options import Options

LAST_WORDS_S = 0.3
"""How long an instrument that has just kept silent is given to say why."""


class ScpiSource:
    """A Source. Everything but `close` belongs in one thread.

    Sample 0 is the first that was fetched. In frames without a place told by the instrument, the host's clock at arming
    places them, good to the time a command takes; `channels`' labels say which input is which.
    """

    def __init__(self, options: "Options", clock: Clock | None = None) -> None:
        self._options, self._clock = options, clock or SystemClock()
        self._name = one_line(options.address)
        self._wire = Wire(self._name, options.dialect.message, self._clock, options.patience_s)
        self._instrument = Instrument(self._wire, options.dialect, options.inputs, self._name)
        self._fetcher: StreamFetcher | FrameFetcher | None = None

    def open(self) -> StreamInfo:
        """Connect, set up and start. Raises AddressError with the instrument's own errors where it refuses."""
        try:
            return self._open()
        except BaseException:
            self.close()
            raise

    def blocks(self) -> Iterator[SampleBlock]:
        """Give blocks until closed; their memory is used again. Raises SourceLost."""
        if self._fetcher is None:
            return
        try:
            with self._telling_silence():
                yield from self._fetcher.blocks()
        except Closed:
            return
        finally:
            self.close()

    def close(self) -> None:
        """End within one step of the wire."""
        self._wire.close()

    def _open(self) -> StreamInfo:
        options = self._options
        try:
            with self._telling_silence():
                self._wire.connect(options.library, options.resource_name, options.dialect.stop)
                return self._set_up()
        except Closed:
            raise SourceLost(f"{self._name}: closed before it was open") from None
        except SourceLost as error:
            raise AddressError(str(error)) from error

    def _set_up(self) -> StreamInfo:
        options = self._options
        identity = self._instrument.identify()
        self._instrument.prepare()
        rate_hz = self._instrument.set_rate(options.rate_hz)
        scales = self._instrument.set_ranges(options.ranges_v)
        self._fetcher = self._make_fetcher(rate_hz)
        if errors := self._instrument.errors():
            raise AddressError(f"{self._name}: {one_line(identity)} refuses: {'; '.join(errors[:3])}")
        started_s, started_utc = self._clock.now(), self._clock.utc()
        self._fetcher.arm()
        return StreamInfo(
            source=self._name,
            sample_rate_hz=rate_hz,
            channels=self._channels(scales),
            dtype=self._fetcher.counts,
            is_live=True,
            started_monotonic_s=started_s,
            started_utc=started_utc,
        )

    def _make_fetcher(self, rate_hz: float) -> StreamFetcher | FrameFetcher:
        options, dialect = self._options, self._options.dialect
        link = Link(
            self._name, self._wire, self._instrument, dialect, options.inputs, rate_hz, self._clock, options.patience_s
        )
        if options.mode == "stream" and dialect.stream is not None:
            return StreamFetcher(link, dialect.stream)
        assert dialect.frames is not None
        points = self._instrument.set_points(dialect.frames, max(round(options.frame_s * rate_hz), 1))
        return FrameFetcher(link, dialect.frames, points)

    def _channels(self, scales: tuple[LinearScale | None, ...]) -> tuple[ChannelInfo, ...]:
        form = SampleFormat(self._options.dialect.data, len(scales))
        return tuple(form.channel(name, scale) for name, scale in zip(self._options.inputs, scales, strict=True))

    @contextmanager
    def _telling_silence(self) -> Iterator[None]:
        """Make silence an error that holds what the instrument itself says of it, if it does."""
        try:
            yield
        except Silent as error:
            reason = f"no answer within {self._options.patience_s:g} s"
            raise SourceLost(f"{self._name}: {reason}{self._last_words()}") from error

    def _last_words(self) -> str:
        try:
            errors = self._instrument.errors(LAST_WORDS_S)
        except (Silent, SourceLost):
            return ""
        return f"; it says {'; '.join(errors[:3])}" if errors else ""

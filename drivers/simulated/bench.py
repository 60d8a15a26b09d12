"""The leads on the engine: the volts of every connected signal, drawn chunk by chunk."""

import math
from dataclasses import dataclass

import numpy as np

from acquire.block import Counts
from drivers.simulated.crank import Crank
from drivers.simulated.faults import FaultBook, Window
from drivers.simulated.instrument import Converter, Instrument
from drivers.simulated.model import EngineModel
from drivers.simulated.signals import Signal
from drivers.simulated.traces import Pulse, Traces
from drivers.simulated.waveform import Canvas, Volts

_LOW_V, _MARK_V = 0.05, 5.0
_FLOAT_V, _GONE_V = 0.2, 0.05
_MARK_S = 0.2


@dataclass(frozen=True, slots=True)
class _Currents:
    """Of one chunk: amperes through the feed, volts lost in it, volts the ground pin is lifted."""

    total_a: Volts
    feed_drop_v: Volts
    ground_v: Volts


class Bench:
    """Draws the chunks. Supply and ground leads sit on the coil whose control is connected first."""

    def __init__(self, model: EngineModel, instrument: Instrument, crank: Crank, book: FaultBook, seed: int) -> None:
        self._model, self._instrument, self._crank, self._book = model, instrument, crank, book
        self._converter = Converter(instrument, seed)
        self._off = crank.scenario.key_off()
        self._chunk = instrument.chunk
        controls = [s.number for s in instrument.signals if s.role == "control"]
        self._lead_coil = model.coil_of((controls or [model.firing_order[0]])[0])
        self._every = max(1, 2 ** int(math.log2(max(1.0, instrument.sample_rate_hz * 0.5e-3))))
        self._logic = [s for s in instrument.signals if s.role in ("control", "acknowledgement")]

    def draw(self, chunk: int, traces: Traces) -> Counts:
        """Draw the counts of chunk number `chunk`, shape (inputs, chunk)."""
        canvas = Canvas(chunk * self._chunk, self._chunk, self._instrument.sample_rate_hz)
        counts = np.empty((len(self._instrument.signals), self._chunk), self._instrument.dtype)
        roles = {s.role for s in self._instrument.signals}
        battery = self._battery(canvas) if roles & {"supply", "battery", "injector"} else np.empty(0, np.float32)
        currents = self._currents(canvas, traces) if roles & {"supply", "ground", "current"} else None
        for row, one in enumerate(self._instrument.signals):
            self._converter.convert(self._volts(one, canvas, traces, battery, currents), row, chunk, counts[row])
        return counts

    def _volts(self, one: Signal, canvas: Canvas, traces: Traces, battery: Volts, currents: _Currents | None) -> Volts:
        match one.role:
            case "control":
                return self._control(one, canvas, traces)
            case "acknowledgement":
                return self._acknowledgement(one, canvas, traces)
            case "injector":
                return self._injector(one, canvas, traces, battery)
            case "marker":
                return self._marker(canvas)
            case "battery":
                return battery
        assert currents is not None
        if one.role == "supply":
            return self._supply(canvas, battery, currents)
        return currents.ground_v if one.role == "ground" else currents.total_a

    def _battery(self, canvas: Canvas) -> Volts:
        """Draw the battery at every few samples, straight lines between."""
        every = self._every
        at = (canvas.first_index + np.arange(0, self._chunk + every, every)) / canvas.rate_hz
        self._crank.extend(float(at[-1]))
        coarse = self._crank.volts(at).astype(np.float32)
        shares = np.arange(every, dtype=np.float32) / np.float32(every)
        return np.asarray((coarse[:-1, None] + np.diff(coarse)[:, None] * shares).reshape(-1))

    def _currents(self, canvas: Canvas, traces: Traces) -> _Currents:
        total, drop, ground = np.zeros((3, self._chunk), np.float32)
        for segment in traces.segments:
            span = canvas.whole(segment.start_s, segment.end_s)
            if span.start >= span.stop:
                continue
            times_s = canvas.times_s(span)
            total_a = segment.total_a(times_s)
            feed_extra, ground_extra = segment.extra_ohm(self._lead_coil)
            total[span] = total_a
            drop[span] = segment.feed_ohm * total_a
            ground[span] = segment.ground_ohm * total_a
            if feed_extra or ground_extra:
                branch_a = segment.branch_a(self._lead_coil, times_s)
                drop[span] += (feed_extra * branch_a).astype(np.float32)
                ground[span] += (ground_extra * branch_a).astype(np.float32)
        return _Currents(total, drop, ground)

    def _supply(self, canvas: Canvas, battery: Volts, currents: _Currents) -> Volts:
        volts = battery - currents.feed_drop_v
        for window in self._book.of("feed-dropout"):
            if window.cylinder in (None, self._lead_coil):
                canvas.blend(volts, window.start_s, window.end_s, _GONE_V)
        for start_s, end_s in self._off:
            canvas.blend(volts, start_s, end_s, _GONE_V)
        return volts

    def _control(self, one: Signal, canvas: Canvas, traces: Traces) -> Volts:
        coil = self._model.coil_of(one.number)
        volts = np.full(self._chunk, _LOW_V, np.float32)
        canvas.high_pulses(volts, (p for p in traces.calls if p.place == coil))
        self._glitches(one, volts, canvas, traces)
        return volts

    def _acknowledgement(self, one: Signal, canvas: Canvas, traces: Traces) -> Volts:
        line = self._model.line
        volts = np.full(self._chunk, line.rest_v(line.pull_up_ohm), np.float32)
        weak = [w for w in self._book.of("weak-pull-up") if self._concerns(w, one)]
        for window in weak:
            canvas.blend(volts, window.start_s, window.end_s, line.rest_v(window.number))
        rest = volts.copy()
        for pulse in traces.pulls:
            if pulse.place == one.number:
                ohm = max((w.number for w in weak if w.start_s <= pulse.end_s < w.end_s), default=line.pull_up_ohm)
                canvas.pull(volts, rest, pulse, line.recovery_s(ohm))
        for window in self._book.of("line-held-low"):
            if self._concerns(window, one):
                canvas.blend(volts, window.start_s, window.end_s, window.number)
        for window in self._book.of("line-open"):
            if window.value == "controller" and self._concerns(window, one):
                canvas.blend(volts, window.start_s, window.end_s, _FLOAT_V)
        self._glitches(one, volts, canvas, traces)
        for start_s, end_s in self._off:
            canvas.blend(volts, start_s, end_s, _GONE_V)
        return volts

    def _concerns(self, window: Window, one: Signal) -> bool:
        return window.cylinder is None or self._model.line_of(window.cylinder) == one.number

    def _injector(self, one: Signal, canvas: Canvas, traces: Traces, battery: Volts) -> Volts:
        """Draw the battery through the winding, near ground while open, then the kick that decays in 0.2 ms."""
        volts = battery.copy()
        for start_s, end_s in self._off:
            canvas.blend(volts, start_s, end_s, _GONE_V)
        for pulse in traces.injections:
            if pulse.place == one.number and canvas.touches(pulse.start_s, pulse.end_s, 2e-3):
                canvas.blend(volts, pulse.start_s, pulse.end_s, 0.7)
                span = canvas.whole(pulse.end_s, pulse.end_s + 2e-3)
                volts[span] += (45.0 * np.exp((pulse.end_s - canvas.times_s(span)) / 0.2e-3)).astype(np.float32)
        return volts

    def _marker(self, canvas: Canvas) -> Volts:
        volts = np.full(self._chunk, _LOW_V, np.float32)
        presses = (Pulse(0, mark_s, mark_s + _MARK_S, _MARK_V) for mark_s in self._crank.scenario.marks_s)
        canvas.high_pulses(volts, presses)
        return volts

    def _glitches(self, one: Signal, volts: Volts, canvas: Canvas, traces: Traces) -> None:
        for pulse in traces.glitches:
            if pulse.place < 0:
                struck = one.role == "control" and self._model.coil_of(one.number) == -pulse.place
            else:
                struck = self._logic[pulse.place % len(self._logic)] is one
            if struck:
                canvas.flip(volts, pulse)

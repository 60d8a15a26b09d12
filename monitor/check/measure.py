"""Blocks into readings: whole arrays, flat memory, and the same result however the blocks are cut."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from monitor.agenda import Agenda
from monitor.check.histogram import Histogram
from monitor.check.hum import HumFinder
from monitor.check.reading import Measured, Reading
from monitor.hookup import Hookup, Lead
from monitor.setup import Limits, Role
from monitor.signal import TICKS_PER_SAMPLE
from monitor.signal.front import CHUNK, Front, PulseShape
from monitor.signal.history import Samples
from monitor.signal.pulses import Overlong, Pulse

_LINE_PULLED_V = (2.2, 2.8)
"""Half of the 5 V that the line rests at, as in the analysis."""
_OUTER = 0.001


@dataclass(slots=True)
class _Wire:
    lead: Lead
    channel: ChannelInfo
    histogram: Histogram
    hum: HumFinder
    clipped: int = 0
    pulses: list[int] = field(default_factory=list)

    def add(self, samples: Samples, first_index: int) -> None:
        self.histogram.add(samples)
        self.hum.add(samples, first_index)
        low, high = self.channel.low_count, self.channel.high_count
        if samples.max() >= high or samples.min() <= low:
            self.clipped += int(np.count_nonzero((samples >= high) | (samples <= low)))


class Measurement:
    """Takes at most `most_samples` from the first one on, lost ones among them."""

    def __init__(self, hookup: Hookup, info: StreamInfo, most_samples: int) -> None:
        self._hookup, self._info, self._most = hookup, info, most_samples
        self._wires = [self._wire(lead) for lead in hookup.leads]
        self._front = Front(Agenda(), info)
        self._first: int | None = None
        self._next = 0
        self._samples = 0
        for wire in self._wires:
            self._watch(wire, hookup.setup.limits)

    @property
    def seen(self) -> int:
        """Samples since the first one, lost ones among them."""
        return 0 if self._first is None else self._next - self._first

    @property
    def is_full(self) -> bool:
        """Whether no more is wanted."""
        return self.seen >= self._most

    def feed(self, block: SampleBlock) -> None:
        """Take the next block, as much of it as is wanted."""
        if self._first is None:
            self._first = self._next = block.first_index
        counts = block.counts[:, : max(self._first + self._most - block.first_index, 0)]
        if block.first_index > self._next and counts.shape[1]:
            self._front.skip(block.first_index)
        for start in range(0, counts.shape[1], CHUNK):
            piece, first = counts[:, start : start + CHUNK], block.first_index + start
            self._front.append(piece, first)
            for wire in self._wires:
                wire.add(piece[wire.lead.row], first)
        self._samples += counts.shape[1]
        self._next = min(block.end_index, self._first + self._most)

    def finish(self) -> Measured:
        """Give what was measured; `readings` is empty where no sample came."""
        readings = tuple(map(self._reading, self._wires)) if self._samples else ()
        lost = self.seen - self._samples
        return Measured(self._info.source, self._hookup, self._info.sample_rate_hz, self._samples, lost, readings)

    def _wire(self, lead: Lead) -> _Wire:
        channel = self._info.channels[lead.row]
        return _Wire(lead, channel, Histogram.of(channel, lead.scale), HumFinder(self._info.sample_rate_hz))

    def _watch(self, wire: _Wire, limits: Limits) -> None:
        """Count calls and answers: longer than a glitch, no longer than any of them lasts."""
        role = wire.lead.channel.role
        if role not in (Role.CONTROL, Role.ACKNOWLEDGEMENT):
            return
        is_control = role is Role.CONTROL
        edges_v = (limits.control_low_v, limits.control_high_v) if is_control else _LINE_PULLED_V
        ticks_hz = self._info.sample_rate_hz * TICKS_PER_SAMPLE
        shortest = max(round(limits.glitch_us * 1e-6 * ticks_hz), round(1.5 * TICKS_PER_SAMPLE))
        shape = PulseShape(is_control, shortest, round(limits.acknowledgement_held_low_ms * 1e-3 * ticks_hz))
        self._front.watch(wire.lead.row, wire.lead.scale.thresholds(*edges_v), shape, _noting(wire))

    def _reading(self, wire: _Wire) -> Reading:
        volt, histogram = wire.lead.scale.volt, wire.histogram
        low, high = sorted(volt(histogram.quantile(share)) for share in (_OUTER, 1.0 - _OUTER))
        least, most = sorted(volt(count or 0) for count in (histogram.least, histogram.most))
        hum, step_v = wire.hum.strongest(), abs(wire.lead.scale.volts_per_count)
        return Reading(
            lead=wire.lead,
            level_v=volt(histogram.quantile(0.5)),
            low_v=low,
            high_v=high,
            least_v=least,
            most_v=most,
            hum_v=None if hum is None else hum[1] * step_v,
            hum_hz=None if hum is None else hum[0],
            range_v=self._range_v(wire),
            step_v=step_v,
            clipped=wire.clipped,
            pulses=len(wire.pulses),
            dropped_s=self._dropped(wire) / self._info.sample_rate_hz,
        )

    def _range_v(self, wire: _Wire) -> tuple[float, float] | None:
        """What the input can show; a table of volts in a file does not say what its instrument could."""
        if wire.channel.high_count == np.iinfo(np.int32).max:
            return None
        low, high = sorted(map(wire.lead.scale.volt, (wire.channel.low_count, wire.channel.high_count)))
        return low, high

    def _dropped(self, wire: _Wire) -> int:
        if wire.lead.channel.role is not Role.SUPPLY:
            return 0
        count = wire.lead.scale.counts(self._hookup.setup.limits.supply_dropout_v)
        below = wire.histogram.below(count)
        return wire.histogram.samples - below if wire.lead.scale.is_inverted else below


def _noting(wire: _Wire) -> Callable[[Pulse | Overlong], None]:
    return partial(_note, wire)


def _note(wire: _Wire, pulse: Pulse | Overlong) -> None:
    if isinstance(pulse, Pulse):
        wire.pulses.append(pulse.start)

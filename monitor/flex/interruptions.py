"""Feed, ground and acknowledgement line watched for moments at which they are gone."""

from dataclasses import dataclass, replace
from functools import partial

from acquire.block import SampleBlock, StreamInfo
from monitor.agenda import Agenda
from monitor.hookup import WIRE, Hookup, Lead
from monitor.setup import Role
from monitor.signal import TICKS_PER_SAMPLE
from monitor.signal.front import CHUNK, Front, PulseShape
from monitor.signal.pulses import Overlong, Pulse

SHORTEST_US = 50.0
"""A contact that lets go is seldom back sooner; what is shorter is interference."""
_STILL_GONE_S = 0.5
"""From when on a wire is told as lost, and not as interrupted."""
_GROUND_GONE_V = (0.7, 1.0)
"""A ground pin that carries charging current rises by tenths of a volt; one that is off floats up by volts."""
_LINE_GONE_V = (2.2, 2.8)
"""Half of the 5 V that the line rests at, as in the analysis."""
_FEED_BACK_V = 0.5
_WATCHED = (Role.SUPPLY, Role.GROUND, Role.ACKNOWLEDGEMENT)


@dataclass(frozen=True, slots=True)
class Interruption:
    """One time that a wire was gone, from `start_s` (seconds from the first sample); `end_s` is None while it lasts."""

    input: str
    wire: str
    start_s: float
    end_s: float | None


def shortest_s(sample_rate_hz: float) -> float:
    """The shortest interruption that can be told from a glitch: 50 microseconds, or two samples if that is more."""
    return max(SHORTEST_US * 1e-6, 2 / sample_rate_hz)


class Interruptions:
    """Finds them in blocks, however these are cut; what is under way at a gap in the samples ends there."""

    def __init__(self, hookup: Hookup, info: StreamInfo) -> None:
        self._rate_hz = info.sample_rate_hz
        self._front = Front(Agenda(), info)
        self._next_index: int | None = None
        self._found: list[Interruption] = []
        self._open: dict[str, Interruption] = {}
        self.wires = {lead.channel.input: WIRE[lead.channel.role] for lead in hookup.leads if _is_watched(lead)}
        """What is watched: input → feed, ground or line."""
        for lead in filter(_is_watched, hookup.leads):
            self._watch(lead, hookup.setup.limits.supply_dropout_v)

    def feed(self, block: SampleBlock) -> list[Interruption]:
        """Take the next block; give what began to be lost, and what came back, in that order of time for each wire."""
        if self._next_index is not None and block.first_index > self._next_index:
            self._skip(block.first_index)
        for start in range(0, block.samples, CHUNK):
            self._front.append(block.counts[:, start : start + CHUNK], block.first_index + start)
        self._next_index = block.end_index
        found, self._found = self._found, []
        return found

    def _skip(self, to_index: int) -> None:
        at_s = (self._next_index or 0) / self._rate_hz
        self._front.skip(to_index)
        self._found += [replace(one, end_s=at_s) for one in self._open.values()]
        self._open.clear()

    def _watch(self, lead: Lead, feed_gone_v: float) -> None:
        edges_v = {
            Role.SUPPLY: (feed_gone_v, feed_gone_v + _FEED_BACK_V),
            Role.GROUND: _GROUND_GONE_V,
            Role.ACKNOWLEDGEMENT: _LINE_GONE_V,
        }[lead.channel.role]
        # A two-sample pulse lies between 1.5 and 2.5 samples from crossing to crossing.
        shortest = max(SHORTEST_US * 1e-6 * self._rate_hz, 1.5)
        shape = PulseShape(
            active_high=lead.channel.role is Role.GROUND,
            shortest=round(shortest * TICKS_PER_SAMPLE),
            longest=round(_STILL_GONE_S * self._rate_hz * TICKS_PER_SAMPLE),
        )
        self._front.watch(lead.row, lead.scale.thresholds(*edges_v), shape, partial(self._note, lead.channel.input))

    def _note(self, name: str, pulse: Pulse | Overlong) -> None:
        ticks = self._rate_hz * TICKS_PER_SAMPLE
        end_s = None if pulse.end is None else pulse.end / ticks
        found = Interruption(name, self.wires[name], pulse.start / ticks, end_s)
        self._open.pop(name, None)
        if end_s is None:
            self._open[name] = found
        self._found.append(found)


def _is_watched(lead: Lead) -> bool:
    return lead.channel.role in _WATCHED

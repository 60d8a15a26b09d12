"""Samples in, firings and flags out: a pure step over state, without screens, disks or networks."""

from dataclasses import dataclass
from functools import partial

from acquire.block import SampleBlock, StreamInfo
from monitor.agenda import Agenda
from monitor.conditions.stray import Stray
from monitor.conditions.watches import Watches
from monitor.firing.crew import Crew
from monitor.firing.evidence import Evidence
from monitor.firing.pairing import Answer, Pairing, Reach
from monitor.firing.position import Placed
from monitor.firing.records import Firing
from monitor.firing.rollcall import Cut, RollCall, Ticks, Turn
from monitor.firing.rota import Rota
from monitor.firing.timing import Timing
from monitor.flags import Flag
from monitor.hookup import Hookup, Lead
from monitor.presses import Markers, Press
from monitor.setup import Role, Setup
from monitor.signal import TICKS_PER_SAMPLE
from monitor.signal.front import CHUNK, Front, PulseShape
from monitor.signal.pulses import Overlong, Pulse
from monitor.snapshot import Snapshot
from monitor.standing import Standing
from monitor.wires import wires_of

_LONGEST_CALL_MS = 15.0
"""Twice what a coil needs at 6 V; a control that is high for longer is no charge."""
_AFTER_SPARK_MS = 2.0
"""An answer at the spark begins within this time; a period of the engine is never as short."""
_BURN_MS = 2.5
"""A repeated charge follows its spark by a millisecond or so; a cycle later is never as soon (8000 rpm: 15 ms)."""
_REPEATED_BELOW_RPM = 2000.0
"""Controllers repeat sparks at low speed only, for instance up to 1500 rpm (public engine-control tables)."""
_CONTROL_EDGE_V = (2.1, 2.7)
"""Between the 0.8 V and 4 V of a driver's input, 0.6 V apart against noise."""
_LINE_EDGE_V = (2.2, 2.8)
"""About half of the 5 V that the line rests at (IEEE Std 181: 50 %)."""
_INJECTOR_EDGE_V = (3.0, 5.0)
"""An injector's driver pulls its end of the winding from battery voltage to about 1 V."""
_LONGEST_INJECTION_MS = 100.0
_UNCLIPPED_S = 1.0
_DROPOUT_BACK_V = 0.5
"""The feed is back only when this far above the limit."""


@dataclass(frozen=True, slots=True)
class Step:
    """What one block brought: firings in the order of the turns; flags raised, grown or cleared, by number; presses."""

    firings: tuple[Firing, ...]
    flags: tuple[Flag, ...]
    presses: tuple[Press, ...] = ()


class Analyzer:
    """Rolling analysis of one stream. Blocks may be cut anywhere; firings and flags come out the same."""

    def __init__(self, setup: Setup, info: StreamInfo, begins: frozenset[int] = frozenset()) -> None:
        """What is missing before the samples that `begins` names is a pause between two sessions, and no loss.

        Raises SetupError where the set-up names inputs that the stream does not have.
        """
        self._begins = begins
        self._hookup = Hookup.of(setup, info)
        self._rate = info.sample_rate_hz * TICKS_PER_SAMPLE
        self._agenda = Agenda()
        self._front = Front(self._agenda, info)
        rota = Rota.of(setup.engine)
        limits = setup.limits
        self._reach = Reach(
            self._ticks(_LONGEST_CALL_MS),
            self._ticks(limits.acknowledgement_held_low_ms),
            self._ticks(_AFTER_SPARK_MS),
            self._ticks(_BURN_MS),
        )
        mode = None if limits.acknowledgement_timing == "learned" else limits.acknowledgement_timing
        self._timing = Timing(mode, self._reach.after_spark, 2 * TICKS_PER_SAMPLE)
        self._repeat_pace = rota.turn_ticks(_REPEATED_BELOW_RPM, self._rate)
        crew = Crew(rota, self._hookup.called, self._hookup.answering, self._repeat_pace)
        self._pairing = Pairing(self._agenda, crew, self._timing, self._reach)
        ticks = Ticks(self._rate, self._reach.longest_answer, self._reach.order_is_certain)
        self._roll = RollCall(self._agenda, crew, self._timing, ticks)
        glitch = round(limits.glitch_us * 1e-6 * info.sample_rate_hz) + 1
        self._evidence = Evidence(rota, self._timing, self._rate, wires_of(self._hookup, self._front), glitch)
        self._watches = Watches(self._hookup, info.sample_rate_hz)
        self._standing = Standing(self._hookup, rota, self._rate)
        self._firings: list[Firing] = []
        self._markers = Markers(self._hookup, self._front, self._shortest, self._rate)
        self._next_index: int | None = None
        self._last_clipped: dict[str, int] = {}
        self._connect()

    # -- what a caller uses

    def feed(self, block: SampleBlock) -> Step:
        """Analyse the next block; a jump of its index is a gap."""
        if self._next_index is None:
            first = block.first_index * TICKS_PER_SAMPLE
            self._roll.lose(-(2**62), first)
            self._markers.lose(first, first)
        elif block.first_index > self._next_index:
            self._skip(self._next_index, block.first_index)
        for start in range(0, block.samples, CHUNK):
            piece = block.counts[:, start : start + CHUNK]
            self._front.append(piece, block.first_index + start)
        self._standing.see(block.counts, block.first_index)
        self._next_index = block.end_index
        return self._step()

    def finish(self) -> Step:
        """Conclude what is open at the end of the samples; nothing may be fed after it."""
        end = (self._next_index or 0) * TICKS_PER_SAMPLE
        self._roll.end_at(end)
        self._agenda.run(None)
        self._pairing.finish()
        self._agenda.run(None)
        self._roll.finish()
        return self._step()

    def snapshot(self) -> Snapshot:
        """What a screen may show now."""
        return self._standing.snapshot(self._roll.pace, self._timing.mode, self._watches.book.raised)

    @property
    def hookup(self) -> Hookup:
        """What is connected."""
        return self._hookup

    @property
    def standing(self) -> Standing:
        """Counts and figures since the start."""
        return self._standing

    @property
    def timing(self) -> Timing:
        """When the coils answer, as far as it is known."""
        return self._timing

    # -- wiring

    def _connect(self) -> None:
        self._pairing.deliver = self._roll.take
        self._pairing.stray = self._stray
        self._roll.on_turn = self._turn
        self._roll.on_cut = self._cut
        self._roll.on_extra = self._extra
        self._roll.on_unsure = lambda placed: self._watches.measurement.unsure(self._s(placed.sighting.tick))
        for lead in self._hookup.of_role(Role.CONTROL):
            shape = PulseShape(active_high=True, shortest=self._shortest, longest=self._reach.longest_call)
            self._front.watch(lead.row, lead.scale.thresholds(*_CONTROL_EDGE_V), shape, partial(self._call, lead))
        for lead in self._hookup.of_role(Role.ACKNOWLEDGEMENT):
            shape = PulseShape(False, self._shortest, self._reach.longest_answer)
            self._front.watch(lead.row, lead.scale.thresholds(*_LINE_EDGE_V), shape, partial(self._answer, lead))
        for lead in self._hookup.of_role(Role.INJECTOR):
            shape = PulseShape(active_high=False, shortest=self._shortest, longest=self._ticks(_LONGEST_INJECTION_MS))
            self._front.watch(lead.row, lead.scale.thresholds(*_INJECTOR_EDGE_V), shape, partial(self._injected, lead))
        for lead in self._hookup.leads:
            self._front.watch_range(lead.row, partial(self._clipped, lead))
        supply = self._hookup.first(Role.SUPPLY)
        if supply is not None:
            low = self._hookup.setup.limits.supply_dropout_v
            shape = PulseShape(False, self._ticks(self._hookup.setup.limits.supply_dropout_ms), self._ticks(1000.0))
            edges = supply.scale.thresholds(low, low + _DROPOUT_BACK_V)
            self._front.watch(supply.row, edges, shape, partial(self._dropout, supply))

    @property
    def _shortest(self) -> int:
        """Ticks below which a pulse is a glitch; one sample alone always is."""
        return max(self._ticks(self._hookup.setup.limits.glitch_us / 1e3), TICKS_PER_SAMPLE * 3 // 2)

    def _ticks(self, milliseconds: float) -> int:
        return round(milliseconds / 1e3 * self._rate)

    def _s(self, tick: int) -> float:
        return tick / self._rate

    def _skip(self, start: int, end: int) -> None:
        first, last = start * TICKS_PER_SAMPLE, end * TICKS_PER_SAMPLE
        self._roll.lose(first, last)
        self._agenda.at(last, (8,), lambda: self._markers.lose(first, last))
        self._front.skip(end)
        if end in self._begins:
            self._standing.pause(start, end)
            return
        self._agenda.at(first, (5,), lambda: self._watches.measurement.lost(self._s(first), self._s(last), end - start))
        self._standing.lose(start, end)

    def _step(self) -> Step:
        firings, self._firings = tuple(self._firings), []
        flags = self._watches.book.changes()
        self._standing.note_flags(flags)
        return Step(firings, flags, self._markers.take())

    # -- what happens, in the order of the samples

    def _call(self, lead: Lead, pulse: Pulse | Overlong) -> None:
        if isinstance(pulse, Pulse) and lead.channel.cylinder is not None:
            self._pairing.call(lead.channel.cylinder, pulse)

    def _answer(self, lead: Lead, pulse: Pulse | Overlong) -> None:
        if isinstance(pulse, Pulse):
            self._pairing.answer(lead.row, frozenset(self._hookup.setup.answering(lead.channel)), pulse)
            return
        if pulse.end is None:
            whose = frozenset(self._hookup.setup.answering(lead.channel))
            self._pairing.answer(lead.row, whose, Pulse(pulse.start, pulse.start))
        if pulse.end is not None:
            self._roll.look_again(pulse.end)
            self._watches.acknowledgement.held_low(self._s(pulse.start), self._s(pulse.end), lead.channel.input)
        elif self._pairing.is_running_together:
            self._roll.look_away(pulse.start)
            self._watches.measurement.running_together(self._s(pulse.start), lead.channel.input)
        elif self._is_fed(pulse.start):
            self._watches.acknowledgement.held_low(self._s(pulse.start), None, lead.channel.input)

    def _is_fed(self, tick: int) -> bool:
        """Whether the feed stands shortly behind this tick; an engine switched off pulls nothing up."""
        supply = self._hookup.first(Role.SUPPLY)
        if supply is None:
            return True
        samples = self._front.samples(supply.row, tick, tick + self._reach.longest_answer // 2)
        limit_v = self._hookup.setup.limits.supply_dropout_v
        return not len(samples) or float(supply.scale.volts(samples)[-1]) > limit_v

    def _injected(self, lead: Lead, pulse: Pulse | Overlong) -> None:
        if isinstance(pulse, Pulse) and lead.channel.cylinder is not None:
            self._watches.injector.pulse(lead.channel.cylinder, self._s(pulse.start))

    def _clipped(self, lead: Lead, tick: int) -> None:
        """Flag it, and clear the flag when nothing more was clipped for a while."""
        name = lead.channel.input
        self._watches.measurement.clipped(self._s(tick), name)
        self._last_clipped[name] = tick
        later = tick + self._ticks(_UNCLIPPED_S * 1e3)
        self._agenda.at(later, (7, lead.row), lambda: self._unclip(name, tick))

    def _unclip(self, name: str, tick: int) -> None:
        if self._last_clipped[name] == tick:
            self._watches.measurement.unclipped(self._s(tick), name)

    def _dropout(self, lead: Lead, pulse: Pulse | Overlong) -> None:
        if not isinstance(pulse, Pulse) or self._roll.pace is None:
            return
        samples = self._front.samples(lead.row, pulse.start, pulse.end)
        lowest_v = float(lead.scale.volts(samples).min()) if len(samples) else None
        self._watches.supply.dropout(self._s(pulse.start), self._s(pulse.end), lowest_v)

    def _turn(self, turn: Turn) -> None:
        self._watches.measurement.named(self._s(turn.tick), is_named=turn.is_named)
        firing = self._evidence.record(turn)
        self._firings.append(firing)
        self._standing.take(firing)
        self._watches.take(firing)

    def _cut(self, cut: Cut) -> None:
        self._standing.is_cut = cut.end is None
        self._watches.control.cut(self._s(cut.start), None if cut.end is None else self._s(cut.end))

    def _extra(self, placed: Placed) -> None:
        answer = placed.sighting.answer
        if placed.sighting.call is not None or answer is None:
            return
        if placed.pace < self._repeat_pace:
            self._stray(answer)
        else:
            self._watches.stray.doubtful(self._as_stray(answer))

    def _stray(self, answer: Answer) -> None:
        reach = self._reach.longest_call
        if self._roll.saw_all(answer.pulse.start - reach, answer.pulse.start + reach):
            self._watches.stray.certain(self._as_stray(answer))

    def _as_stray(self, answer: Answer) -> Stray:
        lead = next(lead for lead in self._hookup.leads if lead.row == answer.row)
        return Stray(self._s(answer.pulse.start), self._s(answer.pulse.end), lead.channel.input)

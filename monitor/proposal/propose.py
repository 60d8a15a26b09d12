"""From samples to roles: each input by itself first, then held against the others."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from acquire.block import StreamInfo
from monitor.proposal import sequence
from monitor.proposal.look import Look
from monitor.proposal.portrait import Portrait, portrait, volts_at_input
from monitor.proposal.shape import Shape, is_clipped, shape_of
from monitor.proposal.step import Swing, answers_calls, swing_in_step
from monitor.proposal.verdict import Sureness, Verdict, unknown
from monitor.setup import Role

_SAG_V = 0.1
"""A feed that falls by this much as coils charge; a battery does by some hundredths."""
_SAME_RATE = 0.1
_KICK_V = 10.0
_LEAST_REACH_V = 0.25


@dataclass(frozen=True, slots=True)
class Proposal:
    """A verdict for each input of the stream.

    `coils` is how many answer, as far as control and line together tell; `firing` holds the controls' inputs in the
    order in which they fire, each with its place in the first one's period (0 to below 1).
    """

    info: StreamInfo
    verdicts: tuple[Verdict, ...]
    coils: int | None
    firing: tuple[tuple[str, float], ...]


def propose(look: Look) -> Proposal:
    """Say what each input looks like."""
    bench = _Bench.of(look)
    verdicts = tuple(bench.verdict(row) for row in range(len(look.info.channels)))
    controls = [row for row, one in enumerate(verdicts) if one.role is Role.CONTROL]
    lines = [row for row, one in enumerate(verdicts) if one.role is Role.ACKNOWLEDGEMENT]
    parts = sequence.phases([bench.seen[row] for row in controls])
    names = [look.info.channels[row].input for row in controls]
    firing = sorted(zip(names, parts, strict=True), key=lambda one: one[1]) if parts and len(parts) > 1 else []
    count = sequence.coils([bench.seen[row] for row in lines], [bench.seen[row] for row in controls])
    return Proposal(look.info, verdicts, count, tuple(firing))


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """All inputs of a look: what each looks like alone, and how far each moves with calls or answers."""

    look: Look
    seen: tuple[Portrait, ...]
    shapes: tuple[Shape | None, ...]
    swings: tuple[Swing, ...]

    @classmethod
    def of(cls, look: Look) -> "_Bench":
        seen = tuple(portrait(look, row) for row in range(len(look.info.channels)))
        shapes = tuple(shape_of(one) for one in seen)
        told = zip(seen, shapes, strict=True)
        events = [one for one, shape in told if shape and shape.role in (Role.CONTROL, Role.ACKNOWLEDGEMENT)]
        return cls(look, seen, shapes, tuple(_largest(look, row, seen[row], events) for row in range(len(seen))))

    def verdict(self, row: int) -> Verdict:
        seen, shape = self.seen[row], self.shapes[row]
        if is_clipped(seen):
            return unknown(f"{seen.clipped:.0%} of the samples are at the end of the input's range: take a wider one")
        if shape is None:
            return self._of_no_shape(row)
        found = self._of_shape(shape.role, row)
        if shape.scale == 1.0:
            return found
        weaker = Sureness.LIKELY if found.sureness is Sureness.FIRM else Sureness.GUESS
        words = f"{found.because}; taken {shape.scale:g} times, as behind an attenuator"
        return Verdict(found.role, weaker, words, shape.scale)

    def _of_shape(self, role: Role, row: int) -> Verdict:
        match role:
            case Role.CONTROL:
                return Verdict(role, *self._control(row))
            case Role.ACKNOWLEDGEMENT:
                return Verdict(role, *self._line(row))
            case Role.INJECTOR:
                return Verdict(role, *self._injector(row))
            case Role.SUPPLY:
                return self._twelve_volts(row)
        return Verdict(role, Sureness.GUESS, "high for long, and seldom")

    def _control(self, row: int) -> tuple[Sureness, str]:
        seen = self._at_wire(row)
        words = f"0 to {seen.away_v:.1f} V, high for {seen.width_ms:.1f} ms"
        line = next((one for one in self._rows(Role.ACKNOWLEDGEMENT) if answers_calls(self.seen[one], seen)), None)
        if line is not None:
            return Sureness.FIRM, f"{words}, answered on {self._name(line)}"
        feed = next((one for one in self._rows(Role.SUPPLY) if self._falls_with(one, seen)), None)
        if feed is not None:
            return Sureness.FIRM, f"{words}, and {self._name(feed)} falls with it"
        return Sureness.LIKELY, f"{words}; nothing else moves with it"

    def _line(self, row: int) -> tuple[Sureness, str]:
        seen = self._at_wire(row)
        words = f"rests at {seen.rest_v:.1f} V, low for {seen.width_ms:.1f} ms"
        called = next((one for one in self._rows(Role.CONTROL) if answers_calls(seen, self.seen[one])), None)
        if called is not None:
            ratio = seen.pulses_hz / self.seen[called].pulses_hz
            return Sureness.FIRM, f"{words}, {ratio:.1f} times for each call on {self._name(called)}"
        feed = next((one for one in self._rows(Role.SUPPLY) if self._falls_with(one, seen)), None)
        if feed is not None:
            return Sureness.FIRM, f"{words}, and {self._name(feed)} falls with it"
        return Sureness.LIKELY, f"{words}; nothing else moves with it"

    def _injector(self, row: int) -> tuple[Sureness, str]:
        seen = self._at_wire(row)
        words = f"{seen.rest_v:.1f} V, low for {seen.width_ms:.1f} ms"
        kicks = seen.beyond_v > _KICK_V
        words += f", then up to {seen.rest_v + seen.beyond_v:.0f} V" if kicks else ""
        rates = [self.seen[one].pulses_hz for one in self._rows(Role.CONTROL)]
        is_paced = any(abs(seen.pulses_hz / hz - 1) < _SAME_RATE for hz in rates)
        if kicks and is_paced and not self._is_sag(self.swings[row], row):
            return Sureness.FIRM, f"{words}, as often as a coil is called"
        return (Sureness.LIKELY if kicks or is_paced else Sureness.GUESS), words

    def _twelve_volts(self, row: int) -> Verdict:
        swing_v = self.swings[row].volts * self._scale(row)
        words = f"{self._at_wire(row).rest_v:.1f} V"
        if self._is_sag(self.swings[row], row):
            return Verdict(Role.SUPPLY, Sureness.FIRM, f"{words}, falls by {swing_v:.1f} V as coils charge")
        if self.runs:
            return Verdict(Role.BATTERY, Sureness.LIKELY, f"{words}, and hardly falls as coils charge")
        return Verdict(Role.SUPPLY, Sureness.GUESS, f"{words}; whether coils draw from it cannot be seen")

    def _of_no_shape(self, row: int) -> Verdict:
        seen, swing = self.seen[row], self.swings[row]
        if abs(seen.rest_v) < 0.3 and swing.is_real and swing.sharp_v >= 0.03:
            if swing.volts < 0.3:
                return Verdict(Role.GROUND, Sureness.GUESS, f"near 0 V, up by {swing.volts:.2f} V as coils charge")
            return Verdict(Role.CURRENT, Sureness.LIKELY, f"from 0 V, up by {swing.volts:.2f} V as coils charge")
        if 4.5 <= seen.rest_v <= 5.5 and not len(seen.starts):
            return Verdict(Role.ACKNOWLEDGEMENT, Sureness.GUESS, f"{seen.rest_v:.1f} V all the time, as a line at rest")
        return unknown(_level_words(seen))

    @property
    def runs(self) -> bool:
        """Whether calls or answers can be seen."""
        return any(True for role in (Role.CONTROL, Role.ACKNOWLEDGEMENT) for _ in self._rows(role))

    def _falls_with(self, feed: int, events: Portrait) -> bool:
        return self._is_sag(_swing(self.look, feed, self.seen[feed], events), feed)

    def _is_sag(self, swing: Swing, row: int) -> bool:
        return swing.is_real and swing.sharp_v * self._scale(row) >= _SAG_V

    def _rows(self, role: Role) -> Iterator[int]:
        return (row for row, shape in enumerate(self.shapes) if shape and shape.role is role)

    def _scale(self, row: int) -> float:
        shape = self.shapes[row]
        return shape.scale if shape else 1.0

    def _at_wire(self, row: int) -> Portrait:
        return self.seen[row].scaled(self._scale(row))

    def _name(self, row: int) -> str:
        return self.look.info.channels[row].input


def _largest(look: Look, row: int, seen: Portrait, events: list[Portrait]) -> Swing:
    """The largest swing that is real, about the calls or answers of any other input."""
    found = (_swing(look, row, seen, one) for one in events if one is not seen)
    return max(chain(found, [Swing()]), key=lambda one: (one.is_real, one.sharp_v))


def _swing(look: Look, row: int, seen: Portrait, events: Portrait) -> Swing:
    volts = volts_at_input(look, row)
    # What drops out altogether, or kicks, is left out of the average.
    reach_v = 0.25 * abs(seen.rest_v)
    counted = np.abs(volts - seen.rest_v) < reach_v if reach_v > _LEAST_REACH_V else np.ones(len(volts), np.bool_)
    return swing_in_step(volts, counted, events.starts, look.info.sample_rate_hz)


def _level_words(seen: Portrait) -> str:
    if abs(seen.rest_v) < 0.3 and not len(seen.starts):
        return "near 0 V all the time: a ground, a switch not pressed, or not connected"
    if not len(seen.starts):
        return f"{seen.rest_v:.2f} V all the time"
    return f"{seen.rest_v:.2f} V, with pulses to {seen.away_v:.2f} V that fit no wire of a coil"

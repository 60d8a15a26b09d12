"""From an entry of the roll to its record: figures in milliseconds and volts, and what the wires did meanwhile."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from monitor.firing.records import Firing
from monitor.firing.rollcall import Turn
from monitor.firing.rota import Rota
from monitor.firing.timing import Timing
from monitor.signal.history import Samples
from monitor.signal.scale import Scale

Window = Callable[[int, int], Samples]
"""Counts on one wire from one tick to another; empty where they are not held."""

_ENOUGH = 64
"""Samples that settle a level; from longer windows every n-th is taken."""


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire's recent samples and what its counts mean."""

    window: Window
    scale: Scale

    def level_v(self, start: int, end: int) -> float | None:
        """Median volts between two ticks; None where samples are missing."""
        samples = self.window(start, end)
        if not len(samples):
            return None
        few = samples[:: len(samples) // _ENOUGH + 1]
        middle = len(few) // 2
        return self.scale.volt(int(np.partition(few, middle)[middle]))

    def upper_v(self, start: int, end: int) -> float | None:
        """Volts that a twentieth of the time between two ticks is above: the level of the upper state."""
        samples = self.window(start, end)
        if not len(samples):
            return None
        few = samples[:: len(samples) // _ENOUGH + 1]
        place = len(few) // 20 if self.scale.is_inverted else len(few) - 1 - len(few) // 20
        return self.scale.volt(int(np.partition(few, place)[place]))

    def lowest_v(self, start: int, end: int, spoilt: int) -> float | None:
        """Lowest volts between two ticks, `spoilt` samples left out as a glitch may have made them."""
        samples = self.window(start, end)
        if not len(samples):
            return None
        place = min(spoilt, (len(samples) - 1) // 4)
        if self.scale.is_inverted:
            place = len(samples) - 1 - place
        return self.scale.volt(int(np.partition(samples, place)[place]))


@dataclass(frozen=True, slots=True)
class Wires:
    """The wires that are looked at again for every turn, by the cylinder they tell something about."""

    supply: Wire | None
    battery: Wire | None
    lines: Mapping[int, Wire]
    controls: Mapping[int, Wire]
    grounds: Mapping[int, Wire]
    currents: Mapping[int, Wire]


class Evidence:
    """Makes the record of a turn."""

    def __init__(self, rota: Rota, timing: Timing, tick_rate_hz: float, wires: Wires, glitch_samples: int) -> None:
        """`glitch_samples` samples may stand out without being believed."""
        self._rota = rota
        self._timing = timing
        self._rate = tick_rate_hz
        self._wires = wires
        self._glitch = glitch_samples

    def record(self, turn: Turn) -> Firing:
        """Give the firing of this entry."""
        call, answer, cylinder = turn.call, turn.answer, turn.cylinder
        start, dwell = self._charge(turn)
        before = (start - dwell // 4, start - dwell // 16)
        late = (turn.tick - dwell // 4, turn.tick - dwell // 16)
        line, control = self._wires.lines.get(cylinder), self._wires.controls.get(cylinder) if call else None
        supply = self._wires.supply if dwell else None
        width = answer.end - answer.start if answer else 0
        return Firing(
            turn=turn.number,
            cylinder=cylinder,
            time_s=turn.tick / self._rate,
            outcome=turn.outcome,
            called=turn.called,
            dwell_ms=self._ms(dwell) if call else None,
            acknowledgement_delay_ms=self._ms(answer.start - self._timing.origin(call)) if answer and call else None,
            acknowledgement_width_ms=self._ms(width) if width else None,
            acknowledgement_low_v=line.level_v(answer.start, answer.end) if line and answer and width else None,
            acknowledgement_rest_v=line.upper_v(turn.tick - round(turn.pace), turn.tick) if line else None,
            control_high_v=control.level_v(*late) if control else None,
            control_low_v=control.level_v(*before) if control else None,
            ground_v=self._level(self._wires.grounds, turn, late),
            current_a=self._level(self._wires.currents, turn, late),
            battery_v=self._wires.battery.level_v(*before) if self._wires.battery and dwell else None,
            supply_before_v=supply.level_v(*before) if supply else None,
            supply_low_v=supply.lowest_v(start, turn.tick, self._glitch) if supply else None,
            speed_rpm=self._rota.rpm(turn.pace, self._rate),
        )

    def _charge(self, turn: Turn) -> tuple[int, int]:
        """Tick at which the charge began, or must have, and its length; 0 where nothing tells."""
        dwell = turn.call.end - turn.call.start if turn.call else self._timing.dwell
        return turn.tick - dwell, dwell

    def _level(self, wires: Mapping[int, Wire], turn: Turn, span: tuple[int, int]) -> float | None:
        wire = wires.get(turn.cylinder) if span[1] > span[0] else None
        return wire.level_v(*span) if wire else None

    def _ms(self, ticks: int) -> float:
        return ticks / self._rate * 1e3

"""Which cylinder's turn comes when, and what the controller means to do with it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.simulated.crank import Crank
from drivers.simulated.draws import normal, uniform
from drivers.simulated.faults import Fault, FaultBook, Window
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import CRANK, CUT, LIMITER, MODES, OFF, OVERRUN, STAND

Column = NDArray[Any]

LOOKAHEAD_S = 0.25
"""A turn is known this long before its top dead centre; more than any advance takes at the slowest fired speed."""

_SLOWEST_RPM = 60.0
_SYNCHRONISED_S = 0.35
_BATCH = 512


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn of one cylinder as the controller plans it. `fired` is False while all cylinders are cut."""

    number: int
    cylinder: int
    sharers: tuple[int, ...]
    coil: int
    line: int | None
    spark_s: float
    dwell_s: float
    interval_s: float
    rpm: float
    battery_v: float
    fired: bool
    fuelled: bool
    faults: dict[str, Fault]


class Schedule:
    """Turns in order, each asked for once."""

    def __init__(self, model: EngineModel, crank: Crank, book: FaultBook, seed: int) -> None:
        self._model, self._crank, self._book, self._seed = model, crank, book, seed
        self._cycle_rev = model.cycle_deg / 360.0
        self._angles_rev = np.array(model.angles_deg) / 360.0
        self._seats = [(c, model.sharers(c), model.coil_of(c), model.line_of(c)) for c in model.firing_order]
        self._coils = np.array([model.coil_of(c) for c in model.firing_order])
        self._next = self._first()

    def until(self, time_s: float) -> tuple[list[Turn], list[Window]]:
        """Give the turns whose charge may begin before `time_s`, and the faults' windows that they bring."""
        known_s = time_s + LOOKAHEAD_S
        self._crank.extend(known_s)
        reached = self._crank.revolutions(known_s)
        turns: list[Turn] = []
        windows: list[Window] = []
        while True:
            numbers = np.arange(self._next, self._next + _BATCH)
            numbers = numbers[self._positions(numbers) <= reached]
            if not len(numbers):
                return turns, windows
            self._next = int(numbers[-1]) + 1
            more, opened = self._plan(numbers)
            turns += more
            windows += opened

    def _first(self) -> int:
        """Find the first turn whose spark lies ahead of the crank's start, whatever its advance."""
        numbers = np.arange(0, 3 * len(self._seats) + 1)
        ahead = self._positions(numbers) > self._crank.revolutions(0.0) + self._model.advance.most_deg / 360.0
        return int(numbers[ahead][0])

    def _positions(self, numbers: Column) -> Column:
        cycles, places = np.divmod(numbers, len(self._seats))
        return np.asarray(cycles * self._cycle_rev + self._angles_rev[places])

    def _plan(self, numbers: Column) -> tuple[list[Turn], list[Window]]:
        places = numbers % len(self._seats)
        top_rev = self._positions(numbers)
        top_s = self._crank.times_s(top_rev)
        spark_s = self._crank.times_s(top_rev - self._advance_deg(numbers, top_s) / 360.0)
        rpm, volts = self._crank.rpm(spark_s), self._crank.volts(spark_s)
        sparks_per_rev = len(self._seats) / self._cycle_rev
        interval_s = 60.0 / (np.maximum(rpm, _SLOWEST_RPM) * sparks_per_rev)
        dwell_s = self._dwell_s(rpm, volts)
        fired, fuelled = self._fired(numbers, spark_s, rpm)
        fired &= top_s - spark_s < LOOKAHEAD_S
        hits = self._book.struck(numbers, self._coils[places], spark_s)
        windows = self._book.open_windows(numbers, self._coils[places], spark_s, interval_s)
        columns = (spark_s, dwell_s, interval_s, rpm, volts, fired, fuelled & fired)
        rows = zip(numbers.tolist(), places.tolist(), *(column.tolist() for column in columns), hits, strict=True)
        return [Turn(number, *self._seats[place], *rest) for number, place, *rest in rows], windows

    def _advance_deg(self, numbers: Column, top_s: Column) -> Column:
        advance = self._model.advance
        krpm = self._crank.rpm(top_s) / 1000.0
        degrees = np.minimum(advance.idle_deg + advance.per_krpm_deg * np.maximum(krpm - 0.8, -1.0), advance.most_deg)
        degrees += advance.jitter_deg * np.clip(normal(self._seed, 10, numbers), -3.0, 3.0)
        degrees -= advance.step_deg * (np.floor(top_s / advance.step_period_s) % 2)
        return np.asarray(degrees)

    def _dwell_s(self, rpm: Column, volts: Column) -> Column:
        dwell = self._model.dwell
        coil_period_s = 60.0 * self._cycle_rev / self._model.sparks_per_cycle / np.maximum(rpm, _SLOWEST_RPM)
        wanted_s = self._model.coil.charge_time_s(dwell.target_a, volts, self._model.feed_resistance_ohm)
        return np.asarray(np.minimum(np.minimum(wanted_s, dwell.longest_s), dwell.most_share * coil_period_s))

    def _is_limited(self, numbers: Column) -> Column:
        """Whether the limiter holds these turns back: whole stretches of two periods, however they were begun."""
        turns = len(self._seats)
        shift = int(uniform(self._seed, 20, np.arange(1))[0] * turns)
        phase = (numbers + shift) % (5 * turns + 1)
        begun_s = self._crank.times_s(self._positions(numbers - phase))
        return np.asarray((phase < 2 * turns + 1) & (self._crank.modes(begun_s) == MODES.index(LIMITER)))

    def _fired(self, numbers: Column, spark_s: Column, rpm: Column) -> tuple[Column, Column]:
        modes = self._crank.modes(spark_s)
        fired = ~np.isin(modes, [MODES.index(m) for m in (STAND, CUT, OFF)]) & (rpm >= _SLOWEST_RPM)
        fired &= (modes != MODES.index(CRANK)) | (self._crank.since_crank_start_s(spark_s) >= _SYNCHRONISED_S)
        fired &= ~self._is_limited(numbers)
        return fired, fired & (modes != MODES.index(OVERRUN))

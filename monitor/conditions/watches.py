"""All conditions that this hookup allows, over one book of flags."""

from typing import Protocol

from monitor.conditions.acknowledgement import AcknowledgementWatch
from monitor.conditions.charge import ChargeWatch
from monitor.conditions.control import ControlWatch
from monitor.conditions.drift import DriftWatch
from monitor.conditions.dwell import DwellWatch
from monitor.conditions.injector import InjectorWatch
from monitor.conditions.levels import LevelWatch
from monitor.conditions.measurement import MeasurementWatch
from monitor.conditions.stray import StrayWatch
from monitor.conditions.supply import SupplyWatch
from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.hookup import Hookup
from monitor.setup import Role


class Watch(Protocol):
    """What every condition has."""

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""


class Watches:
    """One watch a family; each sees every entry of the roll in order."""

    def __init__(self, hookup: Hookup, sample_rate_hz: float) -> None:
        limits, engine = hookup.setup.limits, hookup.setup.engine
        turns = engine.cylinders * engine.sparks_per_cycle
        supply = hookup.first(Role.SUPPLY)
        self.book = FlagBook()
        self.acknowledgement = AcknowledgementWatch(
            self.book, limits, hookup.answering, engine.sparks_per_cycle, sees_calls=bool(hookup.called)
        )
        self.control = ControlWatch(self.book, limits)
        self.measurement = MeasurementWatch(self.book, sample_rate_hz)
        self.injector = InjectorWatch(self.book, limits)
        self.stray = StrayWatch(self.book, limits, turns)
        self.supply = SupplyWatch(self.book, limits, turns, supply.channel.input if supply else "")
        levels = LevelWatch(self.book, limits, turns)
        dwell = DwellWatch(self.book, limits, turns)
        self._all: tuple[Watch, ...] = (
            self.acknowledgement,
            self.control,
            self.measurement,
            self.injector,
            self.stray,
            self.supply,
            levels,
            dwell,
            DriftWatch(self.book),
            ChargeWatch(self.book, hookup.called - hookup.answering, turns),
        )

    def take(self, firing: Firing) -> None:
        """Have every watch look at the next entry."""
        for watch in self._all:
            watch.take(firing)

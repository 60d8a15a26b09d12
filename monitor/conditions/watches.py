"""All conditions that this hookup allows, over one book of flags."""

from monitor.conditions.acknowledgement import AcknowledgementWatch
from monitor.conditions.control import ControlWatch
from monitor.conditions.measurement import MeasurementWatch
from monitor.conditions.supply import SupplyWatch
from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.hookup import Hookup
from monitor.setup import Role


class Watches:
    """One watch a family; each sees every entry of the roll in order."""

    def __init__(self, hookup: Hookup) -> None:
        limits, engine = hookup.setup.limits, hookup.setup.engine
        turns = engine.cylinders * engine.sparks_per_cycle
        supply = hookup.first(Role.SUPPLY)
        self.book = FlagBook()
        self.acknowledgement = AcknowledgementWatch(self.book, limits, turns, sees_calls=bool(hookup.called))
        self.control = ControlWatch(self.book, limits)
        self.measurement = MeasurementWatch(self.book)
        self.supply = SupplyWatch(self.book, limits, turns, supply.channel.input) if supply else None

    def take(self, firing: Firing) -> None:
        """Have every watch look at the next entry."""
        self.acknowledgement.take(firing)
        self.control.take(firing)
        if self.supply is not None:
            self.supply.take(firing)

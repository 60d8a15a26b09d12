"""Which signals are connected, resolved against the stream that carries them."""

from dataclasses import dataclass

from acquire.block import StreamInfo
from monitor.setup import Channel, Role, Setup, channel_for
from monitor.signal.scale import Scale

WIRE = {
    Role.SUPPLY: "feed",
    Role.BATTERY: "battery",
    Role.GROUND: "ground",
    Role.CONTROL: "control",
    Role.ACKNOWLEDGEMENT: "line",
    Role.CURRENT: "clamp",
    Role.INJECTOR: "injector",
    Role.MARKER: "marker",
}
"""What people call the wire of a role."""


@dataclass(frozen=True, slots=True)
class Lead:
    """One connected wire: the set-up's entry, its row in the counts, and what a count means there."""

    channel: Channel
    row: int
    scale: Scale

    @property
    def wire(self) -> str:
        """What people call it: `feed`, `control 4`, `line`."""
        whose = "" if self.channel.cylinder is None else f" {self.channel.cylinder}"
        return f"{WIRE[self.channel.role]}{whose}"


@dataclass(frozen=True, slots=True)
class Hookup:
    """All connected wires and what they let us see."""

    setup: Setup
    leads: tuple[Lead, ...]

    @classmethod
    def of(cls, setup: Setup, info: StreamInfo) -> "Hookup":
        """Match set-up and stream; raises SetupError where they do not fit."""
        leads = [
            Lead(wire.channel, wire.row, Scale.of(info.channels[wire.row], wire.channel.scale, wire.channel.offset_v))
            for wire in channel_for(setup, info)
        ]
        return cls(setup, tuple(leads))

    def of_role(self, role: Role) -> tuple[Lead, ...]:
        """All wires that play this role, in the set-up's order."""
        return tuple(lead for lead in self.leads if lead.channel.role is role)

    def first(self, role: Role) -> Lead | None:
        """The first wire of this role, or None."""
        return next(iter(self.of_role(role)), None)

    @property
    def called(self) -> frozenset[int]:
        """Cylinders whose call can be seen; with waste spark the partner's too, for they share a coil."""
        controls = {lead.channel.cylinder for lead in self.of_role(Role.CONTROL)}
        engine = self.setup.engine
        places = len(engine.firing_order) // engine.sparks_per_cycle
        partners = [engine.firing_order[place::places] for place in range(places)]
        return frozenset(one for pair in partners if controls & set(pair) for one in pair)

    @property
    def answering(self) -> frozenset[int]:
        """Cylinders that some connected acknowledgement line serves."""
        lines = self.of_role(Role.ACKNOWLEDGEMENT)
        return frozenset(one for lead in lines for one in self.setup.answering(lead.channel))

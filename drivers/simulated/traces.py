"""What the running engine leaves behind to be drawn."""

from dataclasses import dataclass, field

from drivers.simulated.circuit import Segment


@dataclass(frozen=True, slots=True)
class Pulse:
    """Something that holds from `start_s` to `end_s` at `place`.

    A call of a coil up to `level` volts, a pull on a line down to `level` volts, an injection into a cylinder, or a
    glitch (on the control of coil -place, or on any logic lead).
    """

    place: int
    start_s: float
    end_s: float
    level: float = 0.0


@dataclass(slots=True)
class Traces:
    """Everything not yet behind; in the order in which it ended."""

    calls: list[Pulse] = field(default_factory=list)
    pulls: list[Pulse] = field(default_factory=list)
    injections: list[Pulse] = field(default_factory=list)
    glitches: list[Pulse] = field(default_factory=list)
    segments: list[Segment] = field(default_factory=list)

    def forget(self, before_s: float) -> None:
        """Drop all that ended before `before_s`."""
        self.calls = [p for p in self.calls if p.end_s >= before_s]
        self.pulls = [p for p in self.pulls if p.end_s >= before_s]
        self.injections = [p for p in self.injections if p.end_s >= before_s]
        self.glitches = [p for p in self.glitches if p.end_s >= before_s]
        self.segments = [s for s in self.segments if s.end_s >= before_s]

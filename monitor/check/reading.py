"""What was measured, before anybody judges it."""

from dataclasses import dataclass

from monitor.hookup import Hookup, Lead
from monitor.setup import Role


@dataclass(frozen=True, slots=True)
class Reading:
    """One wire. Volts at the wire (amperes for a clamp).

    `level_v` is the middle of all samples, `low_v` and `high_v` leave a thousandth outside on either side, `least_v`
    and `most_v` nothing. `hum_v` is mains hum from peak to peak at `hum_hz`, None where too little was seen to tell.
    `range_v` is what the input can show, None where the samples do not say; `step_v` is its finest step. `pulses` are
    calls or answers. `dropped_s` is the time that a feed spent below what counts as gone.
    """

    lead: Lead
    level_v: float
    low_v: float
    high_v: float
    least_v: float
    most_v: float
    hum_v: float | None
    hum_hz: float | None
    range_v: tuple[float, float] | None
    step_v: float
    clipped: int
    pulses: int
    dropped_s: float

    @property
    def role(self) -> Role:
        """What the wire does."""
        return self.lead.channel.role

    @property
    def noise_v(self) -> float:
        """Peak to peak of all but two thousandths of the samples."""
        return self.high_v - self.low_v


@dataclass(frozen=True, slots=True)
class Measured:
    """Everything that was measured; `samples` per input, `lost` those that never came in between."""

    source: str
    hookup: Hookup
    sample_rate_hz: float
    samples: int
    lost: int
    readings: tuple[Reading, ...]

    @property
    def duration_s(self) -> float:
        """How long was looked."""
        return self.samples / self.sample_rate_hz

    def of_role(self, role: Role) -> tuple[Reading, ...]:
        """All wires that play this role, in the set-up's order."""
        return tuple(reading for reading in self.readings if reading.role is role)

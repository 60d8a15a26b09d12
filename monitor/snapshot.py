"""What a screen may ask of the analyzer: one frozen picture, made on demand."""

from dataclasses import dataclass

from monitor.findings.finding import Finding
from monitor.firing.records import Outcome
from monitor.flags import Flag
from monitor.marks import Mark
from monitor.rates import NONE_YET, Missed


@dataclass(frozen=True, slots=True)
class Counts:
    """How often, over what was observed. `commanded` and `acknowledged` are None where nothing could tell."""

    opportunities: int = 0
    commanded: int | None = None
    acknowledged: int | None = None
    unacknowledged: int = 0
    uncommanded: int = 0
    unobserved: int = 0

    @property
    def missed(self) -> Missed:
        """Turns without call or without answer, of those that were observed."""
        return Missed(self.unacknowledged + self.uncommanded, self.opportunities - self.unobserved)


@dataclass(frozen=True, slots=True)
class CylinderView:
    """One cylinder: counts since the start, its latest turns (oldest first, at most 400), its latest figures.

    Among its latest turns one `unobserved` stands for all that passed unseen while samples were lost, however many;
    those are in no count. `last_200` and `last_1000` are its misses in the latest so many crank revolutions.
    """

    cylinder: int
    counts: Counts
    recent: tuple[Outcome, ...] = ()
    dwell_ms: float | None = None
    acknowledgement_delay_ms: float | None = None
    supply_sag_v: float | None = None
    last_200: Missed = NONE_YET
    last_1000: Missed = NONE_YET


@dataclass(frozen=True, slots=True)
class LevelView:
    """What one input reads: its mean over the last chunk analysed, in volts at the wire."""

    input: str
    role: str
    label: str
    volts: float | None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The whole state at `time_s` (seconds from the first sample).

    Cylinders stand in firing order; flags newest first, at most 200 of them.
    """

    time_s: float
    rpm: float | None
    state: str
    """"stopped" | "cranking" | "running" | "cut"; "unknown" before any sample, or any message on a second screen"""
    cylinders: tuple[CylinderView, ...]
    levels: tuple[LevelView, ...] = ()
    flags: tuple[Flag, ...] = ()
    flags_raised: int = 0
    coverage: float = 1.0
    lost_samples: int = 0
    acknowledgement_timing: str | None = None
    findings: tuple[Finding, ...] = ()
    """Where to look, the surest first."""
    marks: tuple[Mark, ...] = ()
    """The newest first, at most 20."""

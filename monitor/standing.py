"""Where things stand: counts, figures and levels since the start, for screens and summaries."""

from collections import OrderedDict, deque
from itertools import islice

import numpy as np

from acquire.block import Counts as SampleCounts
from monitor.conditions.supply import CRANKING_BELOW_RPM
from monitor.findings.casebook import Casebook
from monitor.findings.finding import Finding
from monitor.findings.rules import findings
from monitor.firing.records import Firing, Outcome
from monitor.firing.rota import Rota
from monitor.flags import Flag
from monitor.hookup import Hookup
from monitor.signal import TICKS_PER_SAMPLE
from monitor.snapshot import Counts, CylinderView, LevelView, Snapshot
from monitor.tally import CylinderTally, Spread

_FLAGS_SHOWN = 200
_LOSSES = 16
"""The latest: a turn is understood some turns after it passed."""
_SKIPPED = 1.5
"""Periods from one turn of a cylinder to its next, from which on one is missing between them."""


class Standing:
    """Adds up firings, flags and samples."""

    def __init__(self, hookup: Hookup, rota: Rota, tick_rate_hz: float) -> None:
        self._hookup = hookup
        self._rota = rota
        self._tick_rate_hz = tick_rate_hz
        self._watched = hookup.called | hookup.answering
        self.cylinders = {one: CylinderTally(rota.period_rev) for one in hookup.setup.engine.firing_order}
        self._casebook = Casebook(hookup, rota)
        self.speed_rpm = Spread(1.0, 20_000.0)
        self.entries = 0
        self.first_index: int | None = None
        self.end_index = 0
        self.lost_samples = 0
        self.paused_samples = 0
        self._losses_end_s: deque[float] = deque(maxlen=_LOSSES)
        self.is_cut = False
        self._levels: list[float | None] = [None] * len(hookup.leads)
        self._flags: OrderedDict[int, Flag] = OrderedDict()

    def see(self, counts: SampleCounts, first_index: int) -> None:
        """Note samples (channels, samples) that were analysed."""
        if self.first_index is None:
            self.first_index = first_index
        self.end_index = first_index + counts.shape[1]
        latest = counts[:, -4096:]
        self._levels = [float(np.mean(lead.scale.volts(latest[lead.row]))) for lead in self._hookup.leads]

    def take(self, firing: Firing) -> None:
        """Count one entry of the roll."""
        tally = self.cylinders[firing.cylinder]
        if tally.latest is not None and self._is_broken(tally.latest, firing):
            tally.recent.append(Outcome.UNOBSERVED)
        tally.take(firing)
        self._casebook.take(firing)
        self.entries += 1
        if firing.speed_rpm is not None:
            self.speed_rpm.add(firing.speed_rpm)

    def lose(self, first: int, end: int) -> None:
        """Note that samples `first` to before `end` never came."""
        self.lost_samples += end - first
        self._losses_end_s.append(end / self.sample_rate_hz)

    def pause(self, first: int, end: int) -> None:
        """Note that nobody looked from sample `first` to before `end`."""
        self.paused_samples += end - first
        self._losses_end_s.append(end / self.sample_rate_hz)

    def _is_broken(self, before: Firing, now: Firing) -> bool:
        """Whether turns of a cylinder between these two passed while samples were lost."""
        passed_s = now.time_s - before.time_s
        usual_s = 60.0 * self._rota.period_rev / now.speed_rpm if now.speed_rpm else 0.0
        was_lost = any(before.time_s < end_s <= now.time_s for end_s in self._losses_end_s)
        return was_lost and passed_s > _SKIPPED * usual_s

    def note_flags(self, flags: tuple[Flag, ...]) -> None:
        """Remember the latest flags."""
        self._casebook.note_flags(flags)
        for flag in flags:
            self._flags[flag.number] = flag
        while len(self._flags) > _FLAGS_SHOWN:
            self._flags.popitem(last=False)

    @property
    def sample_rate_hz(self) -> float:
        """Samples a second of each input."""
        return self._tick_rate_hz / TICKS_PER_SAMPLE

    @property
    def elapsed_s(self) -> float:
        """From the first sample to the latest, gaps included, pauses between sessions not."""
        return self._elapsed_samples / self.sample_rate_hz

    @property
    def _elapsed_samples(self) -> int:
        return self.end_index - (self.first_index or 0) - self.paused_samples

    @property
    def revolutions(self) -> float:
        """Crank revolutions over which the roll was called: each period enters all who are watched."""
        return self.entries / max(len(self._watched), 1) * self._rota.period_rev

    @property
    def coverage(self) -> float:
        """Observed part of the time since the first sample."""
        elapsed = self._elapsed_samples
        return 1.0 - self.lost_samples / elapsed if elapsed else 1.0

    def counts(self, cylinder: int) -> Counts:
        """One cylinder's counts; what no wire could show is None."""
        is_called, is_answering = cylinder in self._hookup.called, cylinder in self._hookup.answering
        return self.cylinders[cylinder].counts(is_called=is_called, is_answering=is_answering)

    @property
    def period_rev(self) -> float:
        """Crank revolutions from one turn of a cylinder to its next."""
        return self._rota.period_rev

    @property
    def coils(self) -> dict[tuple[int, ...], CylinderTally]:
        """Tallies by the watched cylinders that share the coil: of these, the one that missed most."""
        groups = [tuple(sorted(self._watched & set(place))) for place in self._rota.places]
        return {
            coil: max((self.cylinders[one] for one in coil), key=lambda tally: tally.misses)
            for coil in sorted(filter(None, groups))
        }

    def findings(self) -> tuple[Finding, ...]:
        """Where all that was seen points to, the surest first."""
        return findings(self._casebook.evidence(self.cylinders, self.coverage))

    def snapshot(self, pace: float | None, timing: str | None, flags_raised: int) -> Snapshot:
        """Everything a screen may show; `pace` is ticks of a mean turn, None while the engine is silent."""
        rpm = self._rota.rpm(pace, self._tick_rate_hz) if pace else None
        return Snapshot(
            time_s=self.end_index / self.sample_rate_hz,
            rpm=rpm,
            state=self._state(rpm),
            cylinders=tuple(self._cylinder(one) for one in self._hookup.setup.engine.firing_order),
            levels=tuple(
                LevelView(lead.channel.input, lead.channel.role.value, _label(lead.channel.cylinder), volts)
                for lead, volts in zip(self._hookup.leads, self._levels, strict=True)
            ),
            flags=tuple(islice(reversed(self._flags.values()), _FLAGS_SHOWN)),
            flags_raised=flags_raised,
            coverage=self.coverage,
            lost_samples=self.lost_samples,
            acknowledgement_timing=timing,
            findings=self._casebook.findings(self.cylinders, self.coverage),
        )

    def _state(self, rpm: float | None) -> str:
        if self.first_index is None:
            return "unknown"
        if rpm is None:
            return "cut" if self.is_cut else "stopped"
        return "cranking" if rpm < CRANKING_BELOW_RPM else "running"

    def _cylinder(self, cylinder: int) -> CylinderView:
        tally = self.cylinders[cylinder]
        latest = tally.latest
        sag = None
        if latest and latest.supply_before_v is not None and latest.supply_low_v is not None:
            sag = latest.supply_before_v - latest.supply_low_v
        return CylinderView(
            cylinder,
            self.counts(cylinder),
            tuple(tally.recent),
            latest.dwell_ms if latest else None,
            latest.acknowledgement_delay_ms if latest else None,
            sag,
            tally.last_200.missed,
            tally.last_1000.missed,
        )


def _label(cylinder: int | None) -> str:
    return "" if cylinder is None else f"cylinder {cylinder}"

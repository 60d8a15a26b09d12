"""Keeps, turn by turn, what findings are made from: how each miss came about, and a digest of the flags."""

from collections import deque
from collections.abc import Mapping
from statistics import median

from monitor.findings.evidence import Coil, Evidence, Line, Seen
from monitor.findings.finding import Finding
from monitor.findings.misses import LineBook, Miss, Notes
from monitor.findings.rules import findings
from monitor.firing.records import Firing, Outcome
from monitor.firing.rota import Rota
from monitor.flags import Flag, Kind, Severity
from monitor.hookup import Hookup
from monitor.setup import Role
from monitor.tally import CylinderTally

_LINE_LOW_V = 2.5
"""Half of the 5 V that the line rests at: below it nobody can pull it down."""
_CLEAR = 0.8
"""Dwell as a part of the time between two coils' turns below which only one of them charges, whatever the jitter."""
_LATEST = 50
_Key = tuple[Kind, Severity, int | None, str | None]


class Casebook:
    """Flat in memory; what it holds depends on the firings and flags alone, never on how samples came in blocks."""

    def __init__(self, hookup: Hookup, rota: Rota) -> None:
        self._hookup = hookup
        self._rota = rota
        self._notes = {one: Notes() for one in hookup.setup.engine.firing_order}
        self._lines: dict[int, LineBook] = {}
        self._each_line: list[LineBook] = []
        for lead in hookup.of_role(Role.ACKNOWLEDGEMENT):
            whose = hookup.setup.answering(lead.channel)
            is_shared = len({rota.place_of(one) for one in whose}) > 1
            line = LineBook(lead.channel.input, whose, is_shared=is_shared)
            self._each_line.append(line)
            self._lines |= dict.fromkeys(line.cylinders, line)
        ends = (*rota.starts[1:], rota.size + rota.starts[0])
        self._nearest = min(end - start for start, end in zip(rota.starts, ends, strict=True))
        self._gone_v = hookup.setup.limits.supply_dropout_v
        self._dwell_ms: float | None = None
        self._losses_v: deque[float] = deque(maxlen=_LATEST)
        self._latest: dict[_Key, Flag] = {}
        self._past: dict[_Key, tuple[int, int, float]] = {}
        self._changes = 0
        self._known: tuple[object, tuple[Finding, ...]] | None = None

    def take(self, firing: Firing) -> None:
        """Note one entry of the roll."""
        notes = self._notes[firing.cylinder]
        line = self._lines.get(firing.cylinder)
        if firing.dwell_ms is not None:
            self._dwell_ms = firing.dwell_ms
        if firing.battery_v is not None and firing.supply_before_v is not None:
            self._losses_v.append(firing.battery_v - firing.supply_before_v)
        is_gone = firing.supply_low_v is not None and firing.supply_low_v < self._gone_v
        notes.feed_gone += is_gone
        notes.follow(firing)
        if firing.outcome is Outcome.UNACKNOWLEDGED:
            self._miss(firing, notes, line, is_gone=is_gone)
        elif line is not None and firing.outcome is Outcome.ACKNOWLEDGED:
            line.answered(self._notes)
        elif line is not None:
            line.passed(firing.cylinder)

    def _miss(self, firing: Firing, notes: Notes, line: LineBook | None, *, is_gone: bool) -> None:
        is_clear = self._is_clear(firing)
        rest_v = firing.acknowledgement_rest_v
        if is_gone:
            notes.without_feed += 1
        elif is_clear and rest_v is not None and rest_v < _LINE_LOW_V:
            notes.line_low += 1
        elif line is not None:
            line.missed(Miss.of(firing, is_clear=is_clear), self._notes)
            return
        else:
            notes.alone += 1
        if line is not None:
            line.passed(firing.cylinder)

    def _is_clear(self, firing: Firing) -> bool:
        """Whether no other coil charges in this one's charge, so that feed and line tell about this one alone."""
        dwell_ms = firing.dwell_ms or self._dwell_ms
        if dwell_ms is None or firing.speed_rpm is None:
            return False
        turn_ms = 60e3 / firing.speed_rpm * self._rota.period_rev / self._rota.size
        return dwell_ms < _CLEAR * self._nearest * turn_ms

    def note_flags(self, flags: tuple[Flag, ...]) -> None:
        """Digest flags raised, grown or cleared."""
        for flag in flags:
            key = (flag.kind, flag.severity, flag.cylinder, flag.input)
            before = self._latest.get(key)
            is_new = before is None or before.number != flag.number
            self._changes += is_new or flag.end_s is not None
            if before is not None and is_new:
                count, times, first_s = self._past.get(key, (0, 0, before.start_s))
                self._past[key] = (count + 1, times + before.count, first_s)
            self._latest[key] = flag

    def findings(self, tallies: Mapping[int, CylinderTally], coverage: float) -> tuple[Finding, ...]:
        """Where to look, as `findings` of `evidence`, for a screen that asks ten times a second.

        Thought over only when a flag came or went or a turn was counted; without the speeds and voltages that misses
        keep to.
        """
        misses = sum(tally.misses for tally in tallies.values())
        turns = sum(sum(tally.outcomes.values()) for tally in tallies.values())
        key = (self._changes, misses, turns)
        if self._known is None or self._known[0] != key:
            self._known = key, findings(self.evidence(tallies, coverage, with_bands=False))
        return self._known[1]

    def evidence(self, tallies: Mapping[int, CylinderTally], coverage: float, *, with_bands: bool = True) -> Evidence:
        """What is known now; `tallies` are the cylinders' counts since the start."""
        watched = self._hookup.called | self._hookup.answering
        groups = (tuple(sorted(watched & set(place))) for place in self._rota.places)
        return Evidence(
            coils=tuple(self._coil(group, tallies, with_bands) for group in sorted(filter(None, groups))),
            lines=tuple(self._line(line) for line in self._each_line),
            seen=tuple(self._seen(key, flag) for key, flag in self._latest.items()),
            coverage=coverage,
            feed_loss_v=median(self._losses_v) if self._losses_v else None,
            limits=self._hookup.setup.limits,
        )

    def _coil(self, cylinders: tuple[int, ...], tallies: Mapping[int, CylinderTally], with_bands: bool) -> Coil:
        """A coil by that of its cylinders which missed most: they fire and fail together."""
        worst = max(cylinders, key=lambda one: tallies[one].misses)
        tally, notes, line = tallies[worst], self._notes[worst], self._lines.get(worst)
        alone = notes.alone + (line.open_misses(worst) if line else 0)
        return Coil(
            cylinders=cylinders,
            turns=sum(tally.outcomes.values()) - tally.outcomes[Outcome.UNOBSERVED],
            unobserved=tally.outcomes[Outcome.UNOBSERVED],
            alone=alone,
            with_all=notes.with_all,
            line_low=notes.line_low,
            without_feed=notes.without_feed,
            uncalled=tally.outcomes[Outcome.UNCOMMANDED],
            given_up=notes.given_up,
            feed_gone=notes.feed_gone,
            is_called=worst in self._hookup.called,
            is_answering=worst in self._hookup.answering,
            line=line.input if line else "",
            sag_v=tally.sag_v.quantile(0.5),
            missed_sag_v=notes.sag_v.quantile(0.5),
            missed_current_a=notes.current_a.quantile(0.5),
            stop=notes.stop,
            by_speed=tally.by_speed if with_bands else None,
            by_supply=tally.by_supply if with_bands else None,
        )

    def _line(self, book: LineBook) -> Line:
        sag_v, current_a = book.sag_v.quantile(0.5), book.current_a.quantile(0.5)
        return Line(book.input, book.cylinders, book.silent, book.since_s, sag_v, current_a)

    def _seen(self, key: _Key, flag: Flag) -> Seen:
        flags, times, first_s = self._past.get(key, (0, 0, flag.start_s))
        return Seen(*key, flags + 1, times + flag.count, first_s, flag.start_s, flag.end_s is None, flag.detail)

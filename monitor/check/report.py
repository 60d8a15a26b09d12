"""The whole check: every judgement, what is not connected, ready or not."""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.check.input import judge_noise, judge_range
from monitor.check.levels import judge_level
from monitor.check.missing import Missing, missing
from monitor.check.oddities import is_dead
from monitor.check.reading import Measured, Reading
from monitor.check.stream import engine_runs, judge_engine, judge_rate, judge_samples
from monitor.check.verdict import Judgement, Verdict
from monitor.check.wire import RESTS
from monitor.setup import Role


@dataclass(frozen=True, slots=True)
class Report:
    """`headline` is what explains several lines at once, "" where nothing does; `remarks` hold however it came out."""

    measured: Measured
    judgements: tuple[Judgement, ...]
    missing: tuple[Missing, ...]
    headline: str
    remarks: tuple[str, ...]

    @property
    def is_ready(self) -> bool:
        """Whether nothing is wrong and every wire of the hookup is on something."""
        return not any(one.is_bad for one in self.judgements)

    @property
    def verdict(self) -> str:
        """Ready or not, in a word or three."""
        if not self.is_ready:
            return "not ready"
        doubts = any(one.verdict is Verdict.DOUBTFUL for one in self.judgements)
        return "ready, with doubts" if doubts else "ready"


def report(measured: Measured) -> Report:
    """Judge what was measured, of which there is at least one sample."""
    running = engine_runs(measured)
    of_wires = [one for reading in measured.readings for one in _of_wire(reading, measured, running=running)]
    of_all = (judge_engine(measured), judge_rate(measured), judge_samples(measured))
    return Report(
        measured, (*of_wires, *of_all), missing(measured.hookup), _headline(measured), tuple(_remarks(measured))
    )


def _of_wire(reading: Reading, measured: Measured, *, running: bool) -> Iterator[Judgement]:
    yield judge_level(reading, measured, running=running)
    if reading.role in RESTS:
        yield judge_noise(reading, measured, running=running)
    yield judge_range(reading, measured)


def _headline(measured: Measured) -> str:
    if is_dead(measured):
        return "Every wire reads 0 V: key off? Or no lead is on, or the instrument's ground is not on battery negative."
    return ""


def _remarks(measured: Measured) -> Iterator[str]:
    at_zero = [one for one in measured.readings if one.role in (Role.CONTROL, Role.GROUND, Role.CURRENT)]
    if at_zero:
        yield "A control, ground or clamp that hangs free reads 0 as well: its pulses must show once the engine runs."
    if any(one.role in (Role.SUPPLY, Role.GROUND) for one in measured.readings):
        yield "Little current flows now: a poor feed or ground may show only while coils charge."

"""Wires with levels of one's choice, through the real measurement."""

from collections.abc import Iterable, Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo, Counts, SampleBlock, StreamInfo
from monitor.check.measure import Measurement
from monitor.check.reading import Measured
from monitor.check.report import Report, report
from monitor.check.verdict import Judgement, Question
from monitor.hookup import Hookup
from monitor.setup import parse_setup

RATE_HZ = 20_000.0
SAMPLES = 20_000
SOUND_V = {
    "supply": 12.5,
    "battery": 12.6,
    "ground": 0.02,
    "control": 0.1,
    "acknowledgement": 4.95,
    "current": 0.0,
    "injector": 12.5,
    "marker": 0.0,
}
"""Battery, feed and line at rest (common practice, no source); driver input low below 0.8 V (a data sheet)."""

Volts = float | NDArray[np.float64]
Ends = tuple[int, int]
WIDE = (-32768, 32767)


def setup_text(roles: Iterable[str], *, scale: float = 1.0, inputs: Mapping[str, str] | None = None) -> str:
    text = "[engine]\ncylinders = 4\nfiring_order = [1, 3, 4, 2]\n"
    for number, role in enumerate(roles, start=1):
        name = (inputs or {}).get(role, f"in{number}")
        text += f'[[channel]]\ninput = "{name}"\nrole = "{role}"\nscale = {scale}\n'
        text += "cylinder = 1\n" if role in ("control", "injector") else ""
    return text


def info_of(roles: Iterable[str], rate_hz: float = RATE_HZ, *, scale: float = 1.0, ends: Ends = WIDE) -> StreamInfo:
    """A millivolt a count, the converter's range from end to end."""
    text = setup_text(roles, scale=scale)
    channels = tuple(ChannelInfo(f"in{n}", 1e-3, 0.0, *ends) for n, _ in enumerate(roles, start=1))
    return StreamInfo("test bench", rate_hz, channels, np.dtype(np.int16), setup_toml=text)


def counts_of(volts: Iterable[Volts], *, noise_v: float = 0.004, scale: float = 1.0) -> Counts:
    """Millivolts at the input, with noise that is the same every time."""
    rng = np.random.default_rng(1)
    rows = [np.full(SAMPLES, one) if isinstance(one, float) else one for one in volts]
    noisy = [(row / scale + noise_v * rng.standard_normal(SAMPLES)) * 1e3 for row in rows]
    return np.clip(np.rint(noisy), -32768, 32767).astype(np.int16)


def measured_of(info: StreamInfo, counts: Counts, cuts: Iterable[int] = (), *, most: int = 10**9) -> Measured:
    measurement = Measurement(Hookup.of(parse_setup(info.setup_toml or "", "test"), info), info, most)
    edges = [0, *sorted(set(cuts) - {0, counts.shape[1]}), counts.shape[1]]
    for first, end in pairwise(edges):
        measurement.feed(SampleBlock(first, counts[:, first:end]))
    return measurement.finish()


def check(wires: Mapping[str, Volts], *, scale: float = 1.0, noise_v: float = 0.004, ends: Ends = WIDE) -> Report:
    """The report on these wires, one input each."""
    info = info_of(wires, scale=scale, ends=ends)
    return report(measured_of(info, counts_of(wires.values(), noise_v=noise_v, scale=scale)))


def sound(*roles: str, **changed: Volts) -> dict[str, Volts]:
    """Wires that are as they should be, all but what is changed."""
    return {role: changed.get(role, SOUND_V[role]) for role in (roles or SOUND_V)}


def said_of(told: Report, role: str | None, question: Question = Question.LEVEL) -> Judgement:
    found = [one for one in told.judgements if one.question is question and _role(one) == role]
    assert len(found) == 1, (role, question)
    return found[0]


def _role(one: Judgement) -> str | None:
    return one.lead.channel.role.value if one.lead else None


def hum(peak_to_peak_v: float, hz: float = 50.0) -> NDArray[np.float64]:
    return np.asarray(0.5 * peak_to_peak_v * np.sin(2 * np.pi * hz * np.arange(SAMPLES) / RATE_HZ))

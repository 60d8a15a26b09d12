"""One input by itself: where it rests, where it goes, for how long and how often."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.proposal.look import Look
from monitor.signal.edges import hysteresis_edges
from monitor.signal.history import Samples
from monitor.signal.levels import reference_level, state_levels
from monitor.signal.scale import Scale

Volts = NDArray[np.float32]
Values = NDArray[np.float64]
Places = NDArray[np.int64]

_BINS = 256
_NEAR = 0.15
"""Part of the way between two levels within which a sample belongs to one of them."""
_FAR = 6
"""A swing this many times the one to the other side is the pulse, however short: the other is hum."""
_SHORTEST_S = 50e-6
"""Shorter pulses are interference."""


@dataclass(frozen=True, slots=True, eq=False)
class Portrait:
    """Levels in volts at the input, or at the wire once `scaled`.

    `rest_v` is where the input is most of the time, `away_v` the level of its pulses, equal to it where it has none.
    `beyond_v` is how far it goes to the other side of rest. `starts` and `ends` are columns; `flatness` is the part
    of the pulses' time spent near `away_v`: 1 for a rectangle. `clipped` is the share of samples at an end of
    the range.
    """

    rest_v: float
    away_v: float
    beyond_v: float
    noise_v: float
    starts: Places
    ends: Places
    flatness: float
    clipped: float
    rate_hz: float
    samples: int

    @property
    def widths_ms(self) -> NDArray[np.float64]:
        """Of each pulse."""
        return (self.ends - self.starts) / self.rate_hz * 1e3

    @property
    def width_ms(self) -> float:
        """Median; 0 without pulses."""
        return float(np.median(self.widths_ms)) if len(self.starts) else 0.0

    @property
    def pulses_hz(self) -> float:
        """Pulses a second."""
        return len(self.starts) * self.rate_hz / self.samples

    @property
    def duty(self) -> float:
        """Share of the time away from rest."""
        return float((self.ends - self.starts).sum() / self.samples)

    def scaled(self, scale: float) -> "Portrait":
        """The same behind an attenuator."""
        return replace(
            self,
            rest_v=self.rest_v * scale,
            away_v=self.away_v * scale,
            beyond_v=self.beyond_v * scale,
            noise_v=self.noise_v * scale,
        )


def portrait(look: Look, row: int) -> Portrait:
    """Measure input number `row` of a look."""
    info, counts = look.info.channels[row], look.counts[row]
    scale = Scale(info.volts_per_count, info.offset_v)
    # Levels are found among the counts, which are exact at any offset; turned over where they fall as the volts rise.
    sign = -1 if scale.is_inverted else 1
    values = counts.astype(np.float64) * sign
    rest, away, beyond = _levels(values)
    noise_v = _noise(values) * abs(info.volts_per_count)
    rest_v, away_v = scale.volts(np.array([rest, away]) * sign).tolist()
    starts, ends = _pulses(counts, scale, rest_v, away_v, 8 * noise_v)
    starts, ends = _whole(starts, ends, look, _SHORTEST_S * look.info.sample_rate_hz)
    return Portrait(
        rest_v,
        away_v if len(starts) else rest_v,
        beyond * abs(info.volts_per_count),
        noise_v,
        starts,
        ends,
        _flatness(values, rest, away, starts, ends),
        float(np.mean((counts <= info.low_count) | (counts >= info.high_count))),
        look.info.sample_rate_hz,
        counts.size,
    )


def volts_at_input(look: Look, row: int) -> Volts:
    """Input number `row` in volts."""
    info = look.info.channels[row]
    volts: Volts = look.counts[row].astype(np.float32)
    volts *= np.float32(info.volts_per_count)
    volts += np.float32(info.offset_v)
    return volts


def _levels(values: Values) -> tuple[float, float, float]:
    """Where the input rests, the level of its pulses, and how far it goes to the other side of rest.

    The pulses are on the side on which more time is spent: a coil winding's kick is higher than its pulse is deep, and
    shorter.
    """
    rest = _rest(values)
    down = rest - state_levels(np.minimum(values, rest), _BINS)[0]
    up = state_levels(np.maximum(values, rest), _BINS)[1] - rest
    below = float(np.mean(values < rest - down / 2)) if down > 0 else 0.0
    above = float(np.mean(values > rest + up / 2)) if up > 0 else 0.0
    if down * _FAR >= up and (below >= above or down > _FAR * up):
        return rest, rest - down, float(values.max()) - rest
    return rest, rest + up, rest - float(values.min())


def _rest(values: Values) -> float:
    """The commonest level: the fullest bin of a histogram, then the median of what lies about it."""
    counts, edges = np.histogram(values, _BINS)
    fullest = int(np.argmax(counts))
    low, high = edges[max(fullest - 1, 0)], edges[min(fullest + 2, _BINS)]
    return float(np.median(values[(values >= low) & (values <= high)]))


def _noise(values: Values) -> float:
    """RMS as the steps between neighbours show it (normal noise: 1.4826 x median, over the square root of 2).

    Half a count at least.
    """
    steps = np.abs(np.diff(values))
    return max(1.4826 * float(np.median(steps)) / 2**0.5 if steps.size else 0.0, 0.5)


def _pulses(counts: Samples, scale: Scale, rest_v: float, away_v: float, least_v: float) -> tuple[Places, Places]:
    """Columns at which the input leaves rest and at which it is back."""
    none = np.empty(0, np.int64)
    if abs(away_v - rest_v) <= least_v:
        return none, none
    low_v, high_v = sorted((rest_v, away_v))
    levels = scale.thresholds(reference_level(low_v, high_v, 30), reference_level(low_v, high_v, 70))
    places, rises, _ = hysteresis_edges(counts, levels, None)
    leaves = rises != ((away_v < rest_v) != scale.is_inverted)
    if len(leaves) and not leaves[0]:
        places, leaves = places[1:], leaves[1:]
    starts, ends = places[leaves], places[~leaves]
    return starts[: len(ends)], ends


def _whole(starts: Places, ends: Places, look: Look, shortest: float) -> tuple[Places, Places]:
    """Without glitches and without what a loss of samples cuts through."""
    uncut = np.searchsorted(look.breaks, starts, "left") == np.searchsorted(look.breaks, ends, "right")
    kept = uncut & (ends - starts >= shortest)
    return starts[kept], ends[kept]


def _flatness(values: Values, rest: float, away: float, starts: Places, ends: Places) -> float:
    total = int((ends - starts).sum())
    if not total:
        return 0.0
    near = np.concatenate(([0], np.cumsum(np.abs(values - away) < _NEAR * abs(away - rest))))
    return float((near[ends] - near[starts]).sum() / total)
